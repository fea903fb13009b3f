/** Payload cases by number: the same class, number and seed give the same case, in any order and on any thread. */
import { Random } from '../random.ts';
import type { Attack, AttackClass } from './attack.ts';
import { Bench, type Ending } from './judge.ts';
import { makeRigs } from './rig.ts';

/** How many cases an insider seals again after the change. */
const INSIDERS = 0.55;
/** Units drawn for each of those below: what follows the seal is the same for all, and signatures take most of the time. */
const SHARES = { p256: 1, ed25519: 1, hmac: 2 };

/** A case, before anybody judged it. */
export interface PayloadCase {
  readonly bench: Bench;
  readonly attack: Attack;
  readonly insider: boolean;
}

/** Units of every scheme, and what makes cases for them. */
export class PayloadFuzz {
  readonly benches: readonly Bench[];

  private constructor(benches: readonly Bench[]) {
    this.benches = benches;
  }

  static async begin(): Promise<PayloadFuzz> {
    return new PayloadFuzz(
      (await makeRigs()).flatMap((rig) => new Array<Bench>(SHARES[rig.authority.type]).fill(new Bench(rig))),
    );
  }

  /** Case `number` of a class. */
  caseOf({ name, fits, make }: AttackClass, seed: number, number: number): PayloadCase {
    const random = new Random(seed, name, number);
    const benches = fits ? this.benches.filter(({ rig }) => fits(rig)) : this.benches;
    const bench = random.pick(benches);
    const insider = random.chance(INSIDERS);
    return { bench, insider, attack: make(random, bench.rig, insider) };
  }
}

/** Where a case ends. Throws `Violation`, or whatever a crash throws. */
export const endingOf = ({ bench, attack }: PayloadCase): Ending => bench.judge(attack);
