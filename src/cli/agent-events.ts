import type { AgentEvent, BrokerNews } from '../broadcast/index.ts';
import { EXIT } from './exit.ts';
import type { Output } from './output.ts';

/** What an agent's run tells. */
export type Told =
  | AgentEvent
  | ({ readonly event: 'broker' } & BrokerNews)
  | { readonly event: 'trouble'; readonly says: string };

/** With --json a long run tells its latest events only. */
const MOST_EVENTS = 1000;

/** What happened in a run, in order; each is told as it comes. */
export class AgentEvents {
  readonly latest: object[] = [];
  readonly #out: Output;
  readonly #happened = new Set<Told['event']>();

  constructor(out: Output) {
    this.#out = out;
  }

  /** `unit`: its name where there are several. */
  tell(event: Told, unit?: string): void {
    const { result: _, ...told } = event as Told & { result?: unknown };
    this.#happened.add(event.event);
    if (this.latest.push(unit === undefined ? told : { unit, ...told }) > MOST_EVENTS) this.latest.shift();
    this.#out.line(unit === undefined ? textOf(event) : `${unit}: ${textOf(event)}`);
  }

  /** What one round came to: a script must tell a refusal from a depot that is not there. */
  status(): number {
    if (this.#happened.has('refused')) return EXIT.refused;
    const undone = (['not-fetched', 'not-reported', 'trouble'] as const).some((name) =>
      this.#happened.has(name),
    );
    return undone ? EXIT.notDone : EXIT.done;
  }
}

function textOf(event: Told): string {
  switch (event.event) {
    case 'broker':
    case 'unwell':
      return event.says;
    case 'heard':
      return `heard announcement ${event.counter}, wave ${event.wave}${event.mine ? '' : ': not for this unit'}`;
    case 'ignored':
      return `took no notice of an announcement: ${event.code}, ${event.detail}`;
    case 'fetched':
      return `fetched ${event.digest.slice(0, 16)}..., ${event.bytes} B`;
    case 'not-fetched':
      return `not fetched: ${event.says}`;
    case 'waiting':
      return event.condition === null
        ? 'waits: the command of --ready says that it may not be updated now'
        : `waits: nobody says that ${event.condition} is met`;
    case 'restarting':
      return 'restarting the machine, so that what was installed starts';
    case 'installed':
      return `installed into slot ${event.slot}`;
    case 'refused':
      return `refused at step ${event.step}: ${event.code}`;
    case 'started':
      return `runs ${event.version ?? 'the recovery image'}, ${event.state}`;
    case 'not-started':
      return `nothing starts${event.code ? `: ${event.code}` : ''}`;
    case 'kept':
      return 'kept';
    case 'reported':
      return `report ${event.report.slice(0, 16)}... is taken`;
    case 'report-refused':
      return `report ${event.report.slice(0, 16)}... is not taken: ${event.code}`;
    case 'report-dropped':
      return `report ${event.report.slice(0, 16)}... is dropped: too many are unsent`;
    case 'not-reported':
      return `reports stay here until later: ${event.says}`;
    case 'trouble':
      return `tried again in the next round: ${event.says}`;
  }
}
