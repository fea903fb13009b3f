import { basename, join } from 'node:path';
import type { Random } from '../fuzz/random.ts';
import type { Desk, Running } from './processes.ts';

/** How the agents are run. */
export interface WorkerOptions {
  readonly depot: string;
  readonly broker: string;
  /** The self-test, for a shell. */
  readonly health: string;
  /** Seconds between two rounds. */
  readonly every: number;
}

/** Agent processes, each with its folder of units. */
export class Workers {
  kills = 0;
  readonly #desk: Desk;
  readonly #folders: readonly string[];
  readonly #options: WorkerOptions;
  readonly #running: Running[] = [];

  constructor(desk: Desk, folders: readonly string[], options: WorkerOptions) {
    this.#desk = desk;
    this.#folders = folders;
    this.#options = options;
  }

  start(): void {
    for (const i of this.#folders.keys()) this.#start(i);
  }

  /**
   * Kills one at a moment that it does not choose, and starts it again; `blocks` as `Desk.start` has it. Gives which: `which`, or
   * one by chance.
   */
  async kill(random: Random, { which, blocks }: { which?: number; blocks?: number } = {}): Promise<number> {
    const i = which ?? random.below(this.#folders.length);
    await this.#running[i]!.end('SIGKILL');
    this.kills += 1;
    this.#start(i, blocks);
    return i;
  }

  /** Those that ended though nobody ended them, in words. */
  get endedAlone(): string[] {
    return this.#running.flatMap(({ isRunning, said }, i) =>
      isRunning ? [] : [`agent process ${i} ended by itself: ${said.slice(-500)}`],
    );
  }

  /** Ends them in good order; gives the most memory that each had, in bytes. */
  async end(signal: 'SIGTERM' | 'SIGKILL' = 'SIGTERM'): Promise<number[]> {
    await Promise.all(this.#running.map((each) => each.end(signal)));
    if (signal === 'SIGKILL') return [];
    return this.#running.map(({ said }) => JSON.parse(said.slice(said.indexOf('{'))).peak_memory_bytes);
  }

  #start(i: number, blocks?: number): void {
    const { depot, broker, health, every } = this.#options;
    const folder = this.#folders[i]!;
    const words = ['agent', folder, '--depot', depot, '--report-to', `${depot}/reports`, '--mqtt', broker];
    const more = ['--health', health, '--every', String(every), '--json'];
    const log = join(this.#desk.folder, `agent-${basename(folder)}-${this.kills}.log`);
    this.#running[i] = this.#desk.start(log, [...words, ...more], blocks);
  }
}
