import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { toHex } from '../../src/bytes/index.ts';
import { type FleetStore, openFleet } from '../../src/fleet/index.ts';
import { deviceId } from '../../src/provision/index.ts';
import { seal } from '../../src/release/index.ts';
import { formatUuid } from '../../src/suit/index.ts';
import { readClass, type Workspace } from '../../src/workspace/index.ts';
import { PLAN_YAML } from '../fleet/plans.ts';
import { prepared, request } from '../release/setup.ts';
import { enter, type Opened, openTestDesk } from './opened.ts';

export const UNITS = 40;
/** A plan whose share draws somebody of so few units, whatever the lot. */
export const PLAN = PLAN_YAML.replace('share: 50', 'share: 400');

/** What a request to begin ended with. */
export interface Ended {
  readonly status: number;
  // biome-ignore lint/suspicious/noExplicitAny: a document, read field by field
  readonly result?: any;
  readonly error?: { readonly code: string; readonly message: string; readonly hint: string | null };
}

/** A desk with a depot over a workspace with a sealed release and 40 units in the fleet, and somebody in front of it. */
export class AtBegin {
  headers: Record<string, string> = {};
  private constructor(
    readonly opened: Opened,
    readonly folder: string,
    readonly workspace: Workspace,
    readonly image: string,
    readonly store: FleetStore,
  ) {}

  static async open({ depot = true } = {}): Promise<AtBegin> {
    const made = await prepared();
    const { folder, workspace, image } = made;
    await seal(request(made));
    const store = await openFleet(workspace.path('private', 'fleet.sqlite'));
    const vent = await readClass(workspace, 'vent');
    const class_ids = vent.classIds.map(formatUuid);
    await store.importUnits(
      Array.from({ length: UNITS }, (_, i) => {
        const serial = String(i + 1).padStart(4, '0');
        const device = deviceId({ class_ids }, serial).replaceAll('-', '');
        return { classId: toHex(vent.classId), device, serial, hardware: i < 30 ? 'A' : 'B' };
      }),
    );
    const opened = await openTestDesk({
      folder: join(folder, 'ws'),
      ...(depot && { depot: join(folder, 'depot') }),
    });
    const at = new AtBegin(opened, folder, workspace, image, store);
    at.headers = await enter(opened);
    return at;
  }

  post(path: string, body: object, headers = this.headers): Promise<Response> {
    return this.opened.ask(`/api/v1${path}`, { method: 'POST', headers, body: JSON.stringify(body) });
  }

  // biome-ignore lint/suspicious/noExplicitAny: documents of many shapes, read field by field
  async json(path: string, body: object): Promise<any> {
    return (await this.post(path, body)).json();
  }

  /** Brings a file of the folder to the desk; gives its name there. */
  async bring(file: string, bytes: Uint8Array = readFileSync(join(this.folder, file))): Promise<string> {
    const answer = await this.opened.ask(`/api/v1/files?name=${file}`, {
      method: 'POST',
      headers: { ...this.headers, 'content-type': 'application/octet-stream' },
      body: new Uint8Array(bytes),
    });
    return ((await answer.json()) as { id: string }).id;
  }

  /** Asks for vent.suit to be begun by the plan, or as `more` says, and watches to the end. */
  async begin(more: object = {}): Promise<Ended> {
    const file = await this.bring('vent.suit');
    const body = { class: 'vent', plan: PLAN, file, confirm: 'vent', ...more };
    const begun = await this.post('/broadcasts', body);
    // biome-ignore lint/suspicious/noExplicitAny: one of two documents, read field by field
    const answer = (await begun.json()) as any;
    if (begun.status !== 200) return { status: begun.status, error: answer.error };
    const told = await (
      await this.opened.ask(`/api/v1/jobs/${answer.job}`, { headers: this.headers })
    ).text();
    const [, event, data] = /event: (done|failed)\ndata: (.*)/.exec(told)!;
    return { status: 200, [event === 'done' ? 'result' : 'error']: unwrapped(JSON.parse(data!)) };
  }

  /** Nothing was begun: no broadcast in the store, nothing announced. */
  async untouched(): Promise<boolean> {
    return (await this.store.broadcasts()).length === 0 && !existsSync(join(this.folder, 'depot', 'a'));
  }

  async close(): Promise<void> {
    await this.opened.desk.close();
    await this.store.close();
  }
}

const unwrapped = ({ result, error }: { result?: object; error?: object }) => result ?? error;
