/** What is asked of both implementations: of src/unit, and of the device kit. */

import type { KitOffer, Running } from '../../scripts/device/unit-cases.ts';
import type { KitUnit } from '../../scripts/device/unit-record.ts';
import { toHex } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type { Floors, UnitParts, UnitState } from '../../src/unit/index.ts';

/** A unit with everything that both need of it. */
export type AskedUnit = KitUnit & Pick<UnitParts, 'unwrappers'>;

/** An offer to a unit that is only its record and what it remembers. */
export interface ViewQuestion {
  readonly kind: 'view';
  readonly unit: AskedUnit;
  readonly state: UnitState;
  readonly offer: KitOffer;
}

/** Something done to a unit that just got power, over a flash. */
export interface FlashQuestion {
  readonly kind: 'flash';
  readonly unit: AskedUnit;
  readonly what: 'install' | 'start' | 'keep' | 'raise';
  readonly offer?: KitOffer | undefined;
  readonly floors?: Floors | undefined;
  readonly running: Running;
  readonly content: Uint8Array;
}

export type Question = ViewQuestion | FlashQuestion;

/** What came of it, in words that can be compared. `flash`: SHA-256 over slots, envelopes and state. */
export interface Answer {
  readonly told: string;
  readonly flash?: string | undefined;
}

/** Each question once: rehearsals ask many of them again and again. */
export function eachOnce(questions: readonly Question[]): Question[] {
  const seen = new Map<string, Question>();
  for (const question of questions) seen.set(nameOf(question), question);
  return [...seen.values()];
}

const digests = new WeakMap<Uint8Array, string>();

/** SHA-256 of bytes that are asked for often. */
export function digestOf(bytes: Uint8Array): string {
  const known = digests.get(bytes) ?? toHex(sha256(bytes));
  digests.set(bytes, known);
  return known;
}

function nameOf(question: Question): string {
  const { kind, unit, offer } = question;
  const about =
    kind === 'view'
      ? question.state
      : [question.what, question.floors, question.running, digestOf(question.content)];
  const image = offer?.image && digestOf(offer.image);
  return JSON.stringify(
    [identityOf(unit), about, offer && digestOf(offer.envelope), image, offer?.now],
    textOf,
  );
}

const identities = new WeakMap<object, number>();
let units = 0;

/** Units with the same record and the same keys are the same. */
function identityOf({ record, macKeys }: AskedUnit): string {
  return [record, macKeys]
    .map((each) => {
      const known = identities.get(each) ?? ++units;
      identities.set(each, known);
      return known;
    })
    .join(' ');
}

const textOf = (_key: string, value: unknown) =>
  typeof value === 'bigint' ? `${value}n` : value instanceof Uint8Array ? toHex(value) : value;
