import type { Registry } from 'prom-client';
import { type FleetStore, type IntakeCounts, lateUnits, UNIT_STATES, WAVE_STATES } from '../fleet/index.ts';
import type { Looks } from './looks.ts';
import type { AnsweredRequest } from './requests.ts';

/** The fleet that figures are told of. */
export interface WatchedFleet {
  readonly store: FleetStore;
  /** Name of a class. */
  classNamed(classId: string): string;
}

/** What figures are told of, beside the process itself. */
export interface Watched {
  readonly fleet: WatchedFleet | undefined;
  /** How many reports came to what, where they are taken in. */
  readonly reports: IntakeCounts | undefined;
  readonly looks?: Looks | undefined;
}

const UNDER_WAY: readonly string[] = ['planned', 'running', 'paused'];
/** Metric names and units as Prometheus asks for them (Prometheus documentation, "Metric and label naming"). */
const SECONDS = [0.005, 0.025, 0.1, 0.3, 1, 3, 10];

/** Figures of one process, in the text format of Prometheus. */
export class Metrics {
  readonly #registry: Registry;
  readonly #count: (request: AnsweredRequest) => void;

  private constructor(registry: Registry, count: (request: AnsweredRequest) => void) {
    this.#registry = registry;
    this.#count = count;
  }

  static async open({ fleet, reports, looks }: Watched): Promise<Metrics> {
    const { default: prom } = await import('prom-client');
    const registry = new prom.Registry();
    const registers = [registry];
    prom.collectDefaultMetrics({ register: registry });
    const requests = new prom.Counter({
      name: 'fieldseal_http_requests_total',
      help: 'Requests that were answered, by method and status',
      labelNames: ['method', 'status'],
      registers,
    });
    const seconds = new prom.Histogram({
      name: 'fieldseal_http_request_seconds',
      help: 'How long requests took',
      buckets: SECONDS,
      registers,
    });
    if (fleet) await watchFleet(prom, registers, fleet);
    if (reports) watchReports(prom, registers, reports);
    if (looks) watchLooks(prom, registers, looks);
    return new Metrics(registry, (request) => {
      requests.inc({
        method: METHODS.has(request.method) ? request.method : 'other',
        status: request.status,
      });
      seconds.observe(request.seconds);
    });
  }

  count(request: AnsweredRequest): void {
    this.#count(request);
  }

  get contentType(): string {
    return this.#registry.contentType;
  }

  /** Asks everything anew. Throws what the store does. */
  text(): Promise<string> {
    return this.#registry.metrics();
  }
}

/** Labels are kept for ever: a stranger does not choose them. */
const METHODS = new Set(['GET', 'HEAD', 'POST', 'PUT', 'DELETE', 'PATCH', 'OPTIONS']);

type Prom = typeof import('prom-client');

function watchReports(prom: Prom, registers: Registry[], counts: IntakeCounts): void {
  new prom.Counter({
    name: 'fieldseal_reports_total',
    help: 'Reports of units since the process began, by what became of them',
    labelNames: ['outcome'],
    registers,
    collect() {
      this.reset();
      for (const [outcome, count] of Object.entries(counts)) this.inc({ outcome }, count);
    },
  });
}

function watchLooks(prom: Prom, registers: Registry[], looks: Looks): void {
  new prom.Counter({
    name: 'fieldseal_steering_looks_total',
    help: 'Looks of this steering process since it began, by what they came to',
    labelNames: ['outcome'],
    registers,
    collect() {
      this.reset();
      for (const [outcome, count] of Object.entries(looks.counts)) this.inc({ outcome }, count);
    },
  });
  new prom.Gauge({
    name: 'fieldseal_steering_last_look_seconds',
    help: 'When the latest look ended, in seconds since 1970; none before the first',
    registers,
    collect() {
      if (looks.latest) this.set(looks.latest.getTime() / 1000);
      else this.remove();
    },
  });
  new prom.Gauge({
    name: 'fieldseal_steering_unpublished',
    help: 'Whether an announcement in the depot has not reached the broker yet: 1 or 0',
    registers,
    collect() {
      this.set(looks.isUnpublished ? 1 : 0);
    },
  });
  new prom.Gauge({
    name: 'fieldseal_steering_depot_lacking',
    help: 'Whether the depot lacks what the broadcast offers, so that nothing is opened or offered: 1 or 0',
    registers,
    collect() {
      this.set(looks.isLacking ? 1 : 0);
    },
  });
}

async function watchFleet(
  prom: Prom,
  registers: Registry[],
  { store, classNamed }: WatchedFleet,
): Promise<void> {
  new prom.Gauge({
    name: 'fieldseal_units',
    help: 'Units of the fleet, by class and state',
    labelNames: ['class', 'state'],
    registers,
    async collect() {
      const { byClass } = await store.counts();
      this.reset();
      for (const { classId } of byClass) {
        const { byState } = await store.counts({ classId });
        for (const state of UNIT_STATES) this.set({ class: classNamed(classId), state }, byState[state]);
      }
    },
  });
  new prom.Gauge({
    name: 'fieldseal_waves',
    help: 'Waves of broadcasts under way, by class and state',
    labelNames: ['class', 'state'],
    registers,
    async collect() {
      const broadcasts = (await store.broadcasts()).filter(({ state }) => UNDER_WAY.includes(state));
      this.reset();
      for (const { id, classId } of broadcasts) {
        const waves = await store.waves(id);
        for (const state of WAVE_STATES)
          this.set(
            { class: classNamed(classId), state },
            waves.filter((wave) => wave.state === state).length,
          );
      }
    },
  });
  new prom.Gauge({
    name: 'fieldseal_late_units',
    help: 'Units of waves that passed which did not come to an end yet, by class; of its newest broadcast, unless that was halted',
    labelNames: ['class'],
    registers,
    async collect() {
      const newest = new Map((await store.broadcasts()).reverse().map((each) => [each.classId, each]));
      this.reset();
      for (const { id, classId, state } of newest.values())
        if (state !== 'halted') this.set({ class: classNamed(classId) }, await lateOf(store, id));
    },
  });
  new prom.Gauge({
    name: 'fieldseal_lease_held_until_seconds',
    help: 'Until when a lease is held, in seconds since 1970; none where nobody holds it',
    labelNames: ['lease', 'holder'],
    registers,
    async collect() {
      const leases = await store.leases();
      this.reset();
      for (const { name, holder, until } of leases) this.set({ lease: name, holder }, until.getTime() / 1000);
    },
  });
}

async function lateOf(store: FleetStore, broadcast: number): Promise<number> {
  const waves = await store.waves(broadcast);
  const passed = new Set(waves.filter(({ state }) => state === 'passed').map(({ number }) => number));
  const counts = (await store.waveCounts(broadcast)).filter(({ number }) => passed.has(number));
  return counts.reduce((sum, each) => sum + lateUnits(each), 0);
}
