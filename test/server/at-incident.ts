import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { openWorkspace, readLedger, type Workspace } from '../../src/workspace/index.ts';
import { enter, type Opened, openTestDesk } from './opened.ts';

/** How a job ended, as whoever watches it is told. */
export interface Ended {
  readonly status: number;
  /** Everything that was answered, as text. */
  readonly told: string;
  readonly error?: { readonly code: string; readonly message: string; readonly field?: string };
}

// biome-ignore lint/suspicious/noExplicitAny: a step of an incident, read field by field
type StepShown = any;

/** A desk over a workspace, with one incident open and somebody in front of it. */
export class AtIncident {
  readonly opened: Opened;
  readonly folder: string;
  headers: Record<string, string>;
  #incident = '';

  private constructor(opened: Opened, folder: string, headers: Record<string, string>) {
    this.opened = opened;
    this.folder = folder;
    this.headers = headers;
  }

  static async open(folder: string, kind: string, key: string): Promise<AtIncident> {
    const opened = await openTestDesk({ folder });
    const at = new AtIncident(opened, folder, await enter(opened));
    const answer = await at.post('/incidents', { kind, key });
    at.#incident = ((await answer.json()) as { incident: string }).incident;
    return at;
  }

  post(path: string, body: object): Promise<Response> {
    return this.opened.ask(`/api/v1${path}`, {
      method: 'POST',
      headers: this.headers,
      body: JSON.stringify(body),
    });
  }

  /** Asks for a step to be done, and watches to its end. */
  async act(step: string, body: object): Promise<Ended> {
    const begun = await this.post(`/incidents/${this.#incident}/steps/${step}/acts`, body);
    const text = await begun.text();
    if (begun.status !== 200) return { status: begun.status, told: text, error: JSON.parse(text).error };
    const { job } = JSON.parse(text);
    const told = await (await this.opened.ask(`/api/v1/jobs/${job}`, { headers: this.headers })).text();
    const failed = /event: failed\ndata: (.*)/.exec(told)?.[1];
    return { status: 200, told, ...(failed && { error: JSON.parse(failed).error }) };
  }

  async step(id: string): Promise<StepShown> {
    const answer = await this.opened.ask(`/api/v1/incidents/${this.#incident}`, { headers: this.headers });
    const { steps } = (await answer.json()) as { steps: StepShown[] };
    return steps.find((each) => each.id === id);
  }

  workspace(): Promise<Workspace> {
    return openWorkspace(this.folder);
  }

  async entries(): Promise<number> {
    return readLedger(await this.workspace()).length;
  }

  /** Files of the workspace that hold a text. */
  filesWith(text: string): string[] {
    return readdirSync(this.folder, { recursive: true, withFileTypes: true })
      .filter((entry) => entry.isFile())
      .map((entry) => join(entry.parentPath, entry.name))
      .filter((file) => readFileSync(file).includes(text));
  }

  close(): Promise<void> {
    return this.opened.desk.close();
  }
}
