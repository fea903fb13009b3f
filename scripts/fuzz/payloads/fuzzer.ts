/** Payload fuzzing as tasks: one for each class of attack. */
import { fromUtf8, toHex } from '../../../src/bytes/index.ts';
import type { Fuzzer } from '../task.ts';
import type { AttackClass, Tampering } from './attack.ts';
import { ATTACKS } from './classes.ts';
import type { Rig } from './rig.ts';
import { endingOf, PayloadFuzz } from './run.ts';

/** A kept case. Flash that fails has neither payload nor changes: class, seed and number say it all. */
export interface KeptPayload {
  readonly class: string;
  readonly seed: number;
  readonly number: number;
  readonly told: string;
  readonly unit: string;
  readonly envelope_hex?: string;
  readonly image_hex?: string | undefined;
  readonly sealed_hex?: readonly string[];
  readonly unsealed?: true;
  readonly moment?: Tampering['moment'];
  /** Offset in the store and new value of each byte that was changed. */
  readonly changes?: readonly (readonly [number, number])[];
}

/** The classes of attack as a fuzzer. */
export async function payloadFuzzer(): Promise<Fuzzer & { readonly payloads: PayloadFuzz }> {
  const payloads = await PayloadFuzz.begin();
  const classOf = (name: string): AttackClass => ATTACKS.find((each) => each.name === name)!;
  return {
    payloads,
    names: ATTACKS.map(({ name }) => name),
    run: (name, seed, number) => endingOf(payloads.caseOf(classOf(name), seed, number)),
    kept(name, seed, number, told) {
      const { bench, attack } = payloads.caseOf(classOf(name), seed, number);
      const bytes =
        attack.kind === 'payload' && !attack.fault
          ? {
              envelope_hex: toHex(attack.envelope),
              image_hex: attack.image && toHex(attack.image),
              sealed_hex: attack.sealed.map(toHex),
              ...(attack.unsealed ? { unsealed: true as const } : {}),
            }
          : attack.kind === 'tampering'
            ? { moment: attack.moment, changes: changesOf(bench.rig, attack) }
            : {};
      const kept: KeptPayload = {
        class: name,
        seed,
        number,
        told: told.split('\n')[0]!,
        unit: bench.rig.name,
        ...bytes,
      };
      const content = fromUtf8(`${JSON.stringify(kept, undefined, 2)}\n`);
      return { path: `regressions/${name}-${seed}-${number}.json`, content };
    },
  };
}

/** What an attack on flash changes, byte by byte. */
function changesOf(rig: Rig, { moment, change }: Tampering): [number, number][] {
  const before = moment === 'ready' ? rig.ready : rig.onTrial;
  const after = before.slice();
  change(after);
  return [...after].flatMap((value, at) => (value === before[at] ? [] : [[at, value]]));
}
