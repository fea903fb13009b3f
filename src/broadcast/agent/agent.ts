import { randomInt } from 'node:crypto';
import { join } from 'node:path';
import { toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import type { InstallResult, KeepResult, StartResult, UnitView } from '../../unit/index.ts';
import { type FileSource, fileSource, filesOn } from '../../workspace/index.ts';
import { type Announcement, LARGEST_ANNOUNCEMENT, readAnnouncement } from '../announcement/announcement.ts';
import { judgeAnnouncement } from '../announcement/judge.ts';
import type { Offer } from '../announcement/offered.ts';
import { nextOffer } from '../announcement/stone.ts';
import { announcementName } from '../depot/depot.ts';
import { boundedBody } from './bounded-body.ts';
import { bring, FetchFault, homeName, reasonOf } from './fetch.ts';
import { type AgentMemory, readMemory, writeMemory } from './memory.ts';
import type { OutboxEvent } from './outbox.ts';

/** The unit that an agent serves, under power for as long as one call. */
export interface AgentUnit {
  view(): Promise<UnitView>;
  install(request: {
    envelope: FileSource;
    image: FileSource | undefined;
    now: Date;
  }): Promise<InstallResult>;
  start(): Promise<StartResult>;
  keep(): Promise<KeepResult>;
}

/** What an agent works with. */
export interface AgentPorts {
  readonly depot: URL;
  /** Folder for downloads and memory; nobody else's. */
  readonly folder: string;
  readonly unit: AgentUnit;
  /** Restarts the machine that the unit is, so that what was installed starts; without it the agent starts the unit itself. */
  restart?(): Promise<void>;
  /**
   * Whether the unit may be updated now: its product is in a safe state, and whoever must allow it does. `condition`: the name
   * that the announcement gives. Asked before each install.
   */
  ready(condition: string | undefined): Promise<boolean>;
  /** Whether what runs on trial is well; only then is it kept. */
  healthy(): Promise<boolean>;
  /** Told what happened, for the log and for reports. */
  tell(event: AgentEvent): void;
  now(): Date;
}

/** Something that happened. */
export type AgentEvent =
  | OutboxEvent
  | { readonly event: 'heard'; readonly counter: string; readonly wave: string; readonly mine: boolean }
  | { readonly event: 'ignored'; readonly code: string; readonly detail: string }
  | { readonly event: 'fetched'; readonly digest: string; readonly bytes: number }
  | { readonly event: 'not-fetched'; readonly code: string; readonly says: string }
  | { readonly event: 'waiting'; readonly condition: string | null }
  | { readonly event: 'restarting' }
  | { readonly event: 'installed'; readonly slot: string | null; readonly result: InstallResult }
  | {
      readonly event: 'refused';
      readonly code: string;
      readonly step: string;
      readonly result: InstallResult;
    }
  | {
      readonly event: 'started';
      readonly version: string | null;
      readonly state: string;
      readonly result: StartResult;
    }
  | { readonly event: 'not-started'; readonly code: string | null; readonly result: StartResult }
  | { readonly event: 'kept'; readonly result: KeepResult }
  | { readonly event: 'unwell'; readonly says: string };

const MOST_REFUSED = 16;
/** Of so many rounds one asks without a condition: a depot that lied about a tag is found out. */
const UNCONDITIONAL = 8;

/**
 * The unit's side of a broadcast: hear, fetch, install, restart, keep. Everything that matters is in the unit's flash or
 * in `folder` before it is acted on, so it may be killed at any moment and goes on from there.
 */
export class Agent {
  readonly #ports: AgentPorts;
  #unwell = false;
  #name: string | undefined;

  constructor(ports: AgentPorts) {
    this.#ports = ports;
  }

  /** After power came: start what is on board, and keep it once it is well. */
  async wake(): Promise<void> {
    const { unit, tell } = this.#ports;
    this.#unwell = false;
    const result = await unit.start();
    const { started } = result;
    if (!started) {
      tell({ event: 'not-started', code: result.refusal?.code ?? null, result });
      return;
    }
    tell({ event: 'started', version: started.facts?.version ?? null, state: started.state, result });
    if (started.state === 'on trial') await this.#prove();
  }

  /**
   * One round: ask the depot, and do what it takes. What failed its self-test is started again first, until it is well or the
   * unit falls back. Gives whether the unit runs something new afterwards.
   */
  async round(): Promise<boolean> {
    if (this.#unwell) await this.wake();
    const memory = readMemory(this.#ports.folder);
    const answer = await this.#ask(randomInt(UNCONDITIONAL) === 0 ? null : memory.tag);
    if (answer) await this.#hear(answer.message, answer.tag);
    return this.#act();
  }

  /** An announcement that came another way than from the depot: judged like any, and what it takes is done. */
  async told(message: Uint8Array): Promise<boolean> {
    await this.#hear(message, undefined);
    return this.#act();
  }

  /** Name under which announcements for the unit lie, see `announcementName`. */
  async listensTo(): Promise<string> {
    this.#name ??= nameFor(await this.#ports.unit.view());
    return this.#name;
  }

  async #act(): Promise<boolean> {
    const memory = readMemory(this.#ports.folder);
    const told = memory.following === null ? undefined : announcementOf(memory.following);
    if (told?.offer) return this.#follow(memory, told);
    this.#sweep();
    return false;
  }

  /** Judges an announcement and remembers what follows. `from`: its entity tag where the depot gave it. */
  async #hear(message: Uint8Array, from: string | null | undefined): Promise<void> {
    const { unit, folder, tell, now } = this.#ports;
    const memory = readMemory(folder);
    const tag = from === undefined ? memory.tag : from;
    const judged = toHex(sha256(message));
    if (judged === memory.judged) {
      if (tag !== memory.tag) writeMemory(folder, { ...memory, tag });
      return;
    }
    const heard = { counter: BigInt(memory.counter) };
    const verdict = judgeAnnouncement({ unit: await unit.view(), message, heard, now: now() });
    if (!verdict.ok) {
      // Held-back and repeated ones come again and again: the tag keeps them from being fetched each time.
      if (verdict.code === 'expired') writeMemory(folder, { ...memory, tag });
      else if (verdict.code !== 'not-yet') writeMemory(folder, { ...memory, tag, judged });
      tell({ event: 'ignored', code: verdict.code, detail: verdict.detail });
      return;
    }
    const { announcement, mine } = verdict;
    writeMemory(folder, {
      ...memory,
      counter: String(announcement.counter),
      following: mine ? Buffer.from(verdict.payload).toString('base64') : null,
      tag,
      judged,
      heard: now().toISOString(),
    });
    tell({ event: 'heard', counter: String(announcement.counter), wave: announcement.wave, mine });
  }

  /** The announcement of the class, where it changed. */
  async #ask(tag: string | null) {
    const { depot, tell } = this.#ports;
    const name = await this.listensTo();
    try {
      const answer = await fetch(new URL(`a/${name}`, depot), {
        headers: tag === null ? {} : { 'if-none-match': tag },
        redirect: 'error',
        signal: AbortSignal.timeout(30_000),
      });
      if (answer.status === 304 || answer.status === 404) return undefined;
      if (answer.status !== 200) throw new Error(`the depot answered ${answer.status}`);
      return { message: await boundedBody(answer, LARGEST_ANNOUNCEMENT), tag: answer.headers.get('etag') };
    } catch (error) {
      tell({ event: 'not-fetched', code: 'unreachable', says: `${depot.origin}: ${reasonOf(error)}` });
      return undefined;
    }
  }

  async #follow(memory: AgentMemory, told: Announcement): Promise<boolean> {
    const { state } = await this.#ports.unit.view();
    const offer = nextOffer(told, keptSequence(state))!;
    const isLast = offer.sequenceNumber === told.offer!.sequenceNumber;
    const digest = toHex(offer.manifestDigest);
    if (memory.refused.includes(digest)) return this.#done(memory, false);
    const runs = runningSlot(state, digest);
    // What is on trial may yet fall back, by a power cut for instance: it is followed until it is kept.
    if (runs) return isLast && runs.state === 'kept' ? this.#done(memory, false) : false;
    if (!(await this.#fetch(offer)) || !(await this.#isReady(told.condition))) return false;
    const result = await this.#install(offer);
    if (result.verdict !== 'accepted') {
      this.#ports.tell({
        event: 'refused',
        code: result.refusal?.code ?? 'incomplete',
        step: result.refusal?.step ?? 'content',
        result,
      });
      const refused = [...memory.refused, digest].slice(-MOST_REFUSED);
      return this.#done({ ...memory, refused }, false);
    }
    this.#ports.tell({ event: 'installed', slot: result.slot, result });
    this.#sweep();
    await this.#restart();
    return true;
  }

  async #isReady(condition: string | undefined): Promise<boolean> {
    const { ready, tell } = this.#ports;
    if (await ready(condition)) return true;
    tell({ event: 'waiting', condition: condition ?? null });
    return false;
  }

  async #restart(): Promise<void> {
    const { restart, tell } = this.#ports;
    if (!restart) return this.wake();
    tell({ event: 'restarting' });
    await restart();
  }

  async #fetch(offer: Offer): Promise<boolean> {
    const { depot, folder, tell } = this.#ports;
    try {
      for (const file of [offer.envelope, ...offer.images]) {
        const place = join(folder, 'files', homeName(file));
        if (await bring(new URL(file.uri, depot), file, place))
          tell({ event: 'fetched', digest: homeName(file), bytes: file.size });
      }
      return true;
    } catch (error) {
      if (!(error instanceof FetchFault)) throw error;
      tell({ event: 'not-fetched', code: error.code, says: error.message });
      return false;
    }
  }

  async #install({ envelope, images }: Offer): Promise<InstallResult> {
    const { folder, unit, now } = this.#ports;
    const open = (file: Offer['envelope']) => fileSource(join(folder, 'files', homeName(file)));
    const source = open(envelope);
    const image = images[0] && open(images[0]);
    try {
      return await unit.install({ envelope: source, image, now: now() });
    } finally {
      source.close();
      image?.close();
    }
  }

  async #prove(): Promise<void> {
    const { healthy, unit, tell } = this.#ports;
    if (await healthy()) {
      tell({ event: 'kept', result: await unit.keep() });
      return;
    }
    this.#unwell = true;
    // It may be offered anew; until then it is not installed again only to fail again.
    this.#done(readMemory(this.#ports.folder), false);
    tell({
      event: 'unwell',
      says: 'the self-test failed: the image stays on trial, and the next start counts',
    });
  }

  /** Nothing is left to do for this announcement. */
  #done(memory: AgentMemory, changed: boolean): boolean {
    writeMemory(this.#ports.folder, { ...memory, following: null });
    this.#sweep();
    return changed;
  }

  /** What was fetched for an announcement that is not followed any more goes; also where an earlier run was killed over it. */
  #sweep(): void {
    const { folder } = this.#ports;
    const files = filesOn();
    for (const name of files.list(join(folder, 'files'))) files.remove(join(folder, 'files', name));
  }
}

/** Class, and key where announcements are MACed: neither changes in the life of a unit. */
function nameFor({ record, macKeys }: UnitView): string {
  const [keyId] = macKeys.keys();
  return announcementName(record.class_ids.at(-1)!, record.scheme === 'symmetric' ? keyId : undefined);
}

function announcementOf(following: string): Announcement {
  return readAnnouncement(Buffer.from(following, 'base64'));
}

/** The highest sequence number that the unit kept; undefined where it kept none. */
function keptSequence({ slots }: UnitView['state']): bigint | undefined {
  const kept = slots.flatMap((slot) => (slot.state === 'kept' ? [slot.sequenceNumber] : []));
  return kept.sort((a, b) => (a < b ? 1 : -1))[0];
}

/** The slot that runs, where it holds the release of that manifest. */
function runningSlot({ slots, running }: UnitView['state'], digest: string) {
  const slot = typeof running === 'number' ? slots[running] : undefined;
  return slot && slot.state !== 'empty' && toHex(slot.manifestDigest) === digest ? slot : undefined;
}
