import type { SealProgress } from '../../release/index.ts';
import type { JsonObject, Workspace } from '../../workspace/index.ts';
import type { Session } from '../access/sessions.ts';
import type { Uploads } from './uploads.ts';

/** The images that a request names among the dropped files, in slot order. */
export function imagesNamed(
  uploads: Uploads,
  session: Session,
  { file, file_b }: { readonly file: string; readonly file_b?: string | undefined },
): { path: string }[] {
  const ids = file_b === undefined ? [file] : [file, file_b];
  return ids.map((id) => ({ path: uploads.find(session, id).path }));
}

/** Tells a job how far sealing is. */
export function progressTo(tell: (doing: string, done: number, total: number) => void) {
  return ({ doing, doneBytes, totalBytes }: SealProgress) => tell(doing, doneBytes, totalBytes);
}

/** Where the desk puts the envelope of a release, and what it answers once it is sealed: the envelope is at hand like a dropped file. */
export class EnvelopePlace {
  readonly path: string;
  readonly #workspace: Workspace;
  readonly #name: string;

  constructor(workspace: Workspace, className: string, number: bigint | string) {
    workspace.files.makeFolder(workspace.path('envelopes'));
    this.#workspace = workspace;
    this.#name = `${className}-${number}.suit`;
    this.path = workspace.path('envelopes', this.#name);
  }

  sealed(
    uploads: Uploads,
    session: Session,
    { json, cautions }: { readonly json: JsonObject; readonly cautions: readonly string[] },
  ) {
    return {
      ...json,
      file: uploads.adopt(session, this.#name, this.path).id,
      envelope: { ...(json.envelope as JsonObject), file: this.#workspace.show(this.path) },
      cautions,
    };
  }
}
