import { announcementNames, type BroadcastError, type Herald, Holding } from '../../../broadcast/index.ts';
import { toHex } from '../../../bytes/index.ts';
import type { Broadcast, FleetStore, Lease } from '../../store/types.ts';
import { type Course, courseFrom, offersOf } from '../course/course.ts';
import { waveOf } from '../course/placing.ts';
import { standingOf } from '../course/standing.ts';
import { nothingIn, wantedOf } from '../course/wanted.ts';
import { type Decision, decide } from '../rules/decide.ts';
import { carryOut } from './carry-out.ts';
import { steeringLease } from './lease.ts';
import { putOnRecord } from './on-record.ts';
import { type Proclaimed, proclaim, type Voice } from './proclaim.ts';

/** What a steering process works with. */
export interface SteeringPorts extends Voice {
  /** Carries announcements beside the depot, where there is one. */
  readonly herald: Herald | undefined;
  readonly store: FleetStore;
  /** Names this process, for whoever asks who steers. */
  readonly holder: string;
  /** How long its right lasts without being renewed. */
  readonly leaseSeconds: number;
}

/** What one look came to. */
export type Look =
  | { readonly at: 'nothing' }
  | { readonly at: 'another'; readonly holder: string }
  | {
      readonly at: 'steered';
      readonly broadcast: number;
      readonly state: Broadcast['state'];
      readonly decisions: readonly Decision[];
      readonly announced: Proclaimed | undefined;
      /** Why the broker has not heard of it; tried again at the next look. */
      readonly unpublished: string | undefined;
      /** What the depot lacks of what the broadcast offers: no wave is opened, and nothing offered, until it is back. */
      readonly lacking: BroadcastError | undefined;
    };

const ATTEMPTS = 5;
const HELD = 'the depot does not hold what is offered: the next wave is opened once it does';
/** How often a lease is renewed in its time while a look is under way. */
const RENEWALS = 3;
const OVERTAKEN: ReadonlySet<unknown> = new Set([
  'overtaken',
  'broadcast-overtaken',
  'fleet-revision-passed',
  'fleet-lease-lost',
]);

/** What was decided is not true any more; it is decided again. */
class Overtaken extends Error {
  readonly code = 'overtaken';
}

function isOvertaken(error: unknown): boolean {
  return error instanceof Error && OVERTAKEN.has((error as { code?: unknown }).code);
}

/**
 * Steers the newest broadcast of a class, one look after the other, while it holds the lease. Whatever is decided stands in
 * the store before it is announced, and what is announced is compared with the store at every look; so it may be killed at
 * any moment, and the next look, here or in another process, goes on from there.
 */
export class Steering {
  readonly #ports: SteeringPorts;
  readonly #classId: string;
  readonly #published = new Map<string, bigint>();
  readonly #holding: Holding;
  #lease: Lease | undefined;
  #unitsPlaced: number | undefined;
  #recorded: number | undefined;

  constructor(ports: SteeringPorts) {
    this.#ports = ports;
    this.#classId = toHex(ports.deviceClass.classId);
    this.#holding = new Holding(ports.depot);
  }

  /**
   * Looks once, and does what is to be done now; again where somebody changed the broadcast meanwhile. Throws what store,
   * workspace and broadcast throw.
   */
  async look(): Promise<Look> {
    for (let attempt = 1; ; attempt++) {
      try {
        return await this.#look();
      } catch (error) {
        if (attempt === ATTEMPTS || !isOvertaken(error)) throw error;
      }
    }
  }

  async #look(): Promise<Look> {
    if (!(await this.#hold())) return { at: 'another', holder: await this.#holder() };
    // A million units, or a slow machine: a look may take longer than a lease lasts. Where renewing fails, writing is refused.
    const { store, leaseSeconds } = this.#ports;
    const renew = () => void store.renew(this.#lease!, leaseSeconds).catch(() => {});
    const renewing = setInterval(renew, (leaseSeconds * 1000) / RENEWALS);
    let look: Look;
    try {
      look = await this.#steer();
    } finally {
      clearInterval(renewing);
    }
    // Not under the lease: a broker that keeps this process waiting keeps nobody else from steering.
    return look.at === 'steered' ? { ...look, unpublished: await this.#publish() } : look;
  }

  async #steer(): Promise<Look> {
    const [broadcast] = await this.#ports.store.broadcasts({ classId: this.#classId });
    if (!broadcast || broadcast.state === 'planned') return { at: 'nothing' };
    const course = courseFrom(broadcast.plan);
    await this.#place(broadcast, course);
    const decisions = await this.#decide(broadcast.id, course);
    const lacking = await this.#holding.fault(offersOf(course));
    const announced = await this.#proclaim(broadcast.id, course, lacking !== undefined);
    const { state } = await this.#record(broadcast.id);
    return {
      at: 'steered',
      broadcast: broadcast.id,
      ...{ state, decisions, announced, lacking },
      unpublished: undefined,
    };
  }

  /** Gives the lease back. */
  async close(): Promise<void> {
    if (this.#lease) await this.#ports.store.release(this.#lease);
    this.#lease = undefined;
  }

  async #hold(): Promise<boolean> {
    const { store, holder, leaseSeconds } = this.#ports;
    const held = this.#lease && (await store.renew(this.#lease, leaseSeconds));
    this.#lease = held ?? (await store.lease(steeringLease(this.#classId), holder, leaseSeconds));
    return this.#lease !== undefined;
  }

  async #holder(): Promise<string> {
    const lease = await this.#ports.store.holderOf(steeringLease(this.#classId));
    return lease?.holder ?? 'another process';
  }

  /** Units that were added to the class since are put into their waves. */
  async #place({ id, state }: Broadcast, course: Course): Promise<void> {
    const { store } = this.#ports;
    if (state === 'halted') return;
    const { units } = await store.counts({ classId: this.#classId });
    if (units === this.#unitsPlaced) return;
    await store.placeUnits(id, waveOf(course), this.#lease);
    this.#unitsPlaced = units;
  }

  /** Stops go before everything; a wave is opened only where its units would find what they are told of. */
  async #decide(id: number, course: Course): Promise<Decision[]> {
    const { store, workspace } = this.#ports;
    const decisions: Decision[] = [];
    for (;;) {
      const broadcast = (await store.broadcast(id))!;
      const now = workspace.now();
      const decision = decide(await standingOf(store, broadcast, course, now), now);
      const lacking =
        decision.do === 'open' ? await this.#holding.fault(offersOf(course), { anew: true }) : undefined;
      decisions.push(lacking ? { do: 'wait', why: HELD, until: undefined } : decision);
      if (lacking || decision.do === 'wait') return decisions;
      await carryOut(store, broadcast, decision, this.#lease!);
    }
  }

  /** Where the depot lacks what is offered, the offer is taken back, and nothing is announced where nothing was before. */
  async #proclaim(id: number, course: Course, isLacking: boolean): Promise<Proclaimed | undefined> {
    const { store, workspace } = this.#ports;
    const broadcast = (await store.broadcast(id))!;
    const standing = await standingOf(store, broadcast, course, workspace.now());
    const meant = wantedOf(course, standing);
    if (!meant || (meant.offer && isLacking && !this.#saysSomething())) return undefined;
    const wanted = isLacking ? nothingIn(meant.wave) : meant;
    return proclaim(this.#ports, wanted, course.plan.announcedFor, (number) =>
      this.#mayAnnounce(broadcast, wanted.wave, number),
    );
  }

  #saysSomething(): boolean {
    const { workspace, deviceClass, depot } = this.#ports;
    return announcementNames(workspace, deviceClass).some((name) => depot.announced(name) !== undefined);
  }

  /**
   * Publishes what the depot says at the broker, where that was not done yet: also what an earlier process was killed over. A
   * broker that is gone keeps nothing from being decided or announced. Gives why it was not done.
   */
  async #publish(): Promise<string | undefined> {
    const { herald, depot, workspace, deviceClass } = this.#ports;
    if (!herald) return undefined;
    try {
      for (const name of announcementNames(workspace, deviceClass)) {
        const said = depot.announced(name);
        if (!said || this.#published.get(name) === said.announcement.counter) continue;
        await herald.publish(name, said.message, new Date(Number(said.announcement.expiry) * 1000));
        this.#published.set(name, said.announcement.counter);
      }
      return undefined;
    } catch (error) {
      if ((error as { code?: unknown }).code !== 'broadcast-broker') throw error;
      return (error as Error).message;
    }
  }

  async #record(id: number): Promise<Broadcast> {
    const { store, workspace, deviceClass } = this.#ports;
    const broadcast = (await store.broadcast(id))!;
    if (broadcast.revision !== this.#recorded) await putOnRecord(workspace, store, deviceClass, broadcast);
    this.#recorded = broadcast.revision;
    return broadcast;
  }

  /** The journal gets the number under the lease, and only while the broadcast is as it was when this was decided. */
  async #mayAnnounce({ id, revision }: Broadcast, wave: string, number: bigint): Promise<void> {
    const { store, leaseSeconds, holder } = this.#ports;
    const lease = await store.renew(this.#lease!, leaseSeconds);
    if (!lease) throw new Overtaken('somebody else steers by now');
    const now = await store.broadcast(id);
    if (now?.revision !== revision) throw new Overtaken('the broadcast was changed meanwhile');
    await store.note(
      { kind: 'announcing', broadcast: id, who: holder, text: `announcement ${number}, wave ${wave}` },
      lease,
    );
  }
}
