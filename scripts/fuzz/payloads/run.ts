/** Payload cases by number: the same class, number and seed give the same case, in any order and on any thread. */
import { Random } from '../random.ts';
import type { Attack, AttackClass } from './attack.ts';
import { Bench, type Ending } from './judge.ts';
import type { Rig } from './rig.ts';
import { makeRigs } from './rigs.ts';

/** How many cases an insider seals again after the change. */
const INSIDERS = 0.6;
/** Units drawn for each of those below: what follows the seal is the same for all, and signatures take most of the time. */
const SHARES = { p256: 1, ed25519: 1, 'hss-lms': 1, hmac: 2 };

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
  caseOf({ name, fits, outside, make }: AttackClass, seed: number, number: number): PayloadCase {
    const random = new Random(seed, name, number);
    const benches = fits ? this.benches.filter(({ rig }) => fits(rig)) : this.benches;
    const bench = random.pick(benches);
    const insider = random.chance(INSIDERS);
    const attack = make(random, bench.rig, insider);
    return { bench, insider, attack: outside ? attack : sent(attack, bench.rig) };
  }
}

/** As it reaches the unit: whoever changed what is inside, the message around it is as it should be. */
export function sent(attack: Attack, { messenger }: Rig): Attack {
  if (attack.kind !== 'payload' || !messenger) return attack;
  return { ...attack, envelope: messenger.around(attack.envelope) };
}

/** Where a case ends. Throws `Violation`, or whatever a crash throws. */
export const endingOf = ({ bench, attack }: PayloadCase): Ending => bench.judge(attack);
