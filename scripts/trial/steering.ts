import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import type { Desk, Running } from './processes.ts';

/** Waves of the trial: a pilot, half, everyone. Any refusal stops, and fall-backs beyond what is bound to happen. */
const planOf = (leastFallen: number) => `format: fieldseal.broadcast-plan/1
class: vent
success: 500
within: 1 d
soak: 2 s
silence: 1 d
stop:
  refused: { share: 0, least: 1 }
  fell_back: { share: 100, least: ${leastFallen} }
  silent: { share: 1000, least: 1000000 }
announced_for: 1 d
waves:
  - { name: pilot, share: ${PILOT_SHARE} }
  - { name: half, share: 500 }
  - { name: everyone, share: 1000 }
`;
/** Of a thousand. */
const PILOT_SHARE = 60;
const LEASE_SECONDS = 5;

/** Two processes that steer, of which one holds the lease; either may be killed. */
export class Steering {
  kills = 0;
  /** How often one ended by itself, as it does where it cannot speak to the broker, and was started again. */
  ends = 0;
  #over = false;
  readonly #desk: Desk;
  readonly #broker: string;
  readonly #running: Running[] = [];

  constructor(desk: Desk, broker: string) {
    this.#desk = desk;
    this.#broker = broker;
  }

  /** Begins to send a release, by a plan that stops after so many fall-backs at least. */
  begin(envelope: string, leastFallen: number): void {
    const plan = join(this.#desk.folder, 'waves.yaml');
    writeFileSync(plan, planOf(leastFallen));
    this.#desk.json(
      'broadcast',
      'begin',
      'vent',
      envelope,
      '--plan',
      plan,
      '--depot',
      'depot',
      '--by',
      'ada',
    );
  }

  /** As a service: started again whenever it ended. */
  start(): void {
    for (const i of [0, 1]) this.#start(i);
    void this.#watch();
  }

  async #watch(): Promise<void> {
    while (!this.#over) {
      await pause(1000);
      for (const [i, each] of this.#running.entries()) {
        if (this.#over || each.isRunning) continue;
        this.ends += 1;
        this.#start(i);
      }
    }
  }

  async kill(which: number): Promise<void> {
    await this.#running[which]!.end('SIGKILL');
    this.kills += 1;
    this.#start(which);
  }

  async end(signal: 'SIGTERM' | 'SIGKILL'): Promise<void> {
    this.#over = true;
    await Promise.all(this.#running.map((each) => each.end(signal)));
  }

  #start(i: number): void {
    const words = ['broadcast', 'steer', 'vent', '--depot', 'depot', '--every', '1'];
    const more = ['--lease', String(LEASE_SECONDS), '--mqtt', this.#broker];
    const log = join(this.#desk.folder, `steer-${i}-${this.kills + this.ends}.log`);
    this.#running[i] = this.#desk.start(log, [...words, ...more]);
  }
}
