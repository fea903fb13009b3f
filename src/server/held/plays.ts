import { unitJson } from '../../answers/index.ts';
import type { ByteSource } from '../../bytes/index.ts';
import type { SecretSource } from '../../keys/index.ts';
import {
  type Cut,
  type Flash,
  type InstallResult,
  type KeepResult,
  PowerCut,
  type StartResult,
} from '../../unit/index.ts';
import { type PoweredUnit, powerUp } from '../../virtual/index.ts';
import { unguessable } from '../access/random.ts';
import type { Session } from '../access/sessions.ts';
import { DeskError } from '../error.ts';
import { type Answered, answerPlay } from './answer-play.ts';
import { drawFlash } from './draw-flash.ts';
import { type Stroke, watchFlash } from './strokes.ts';

/** A copy of a unit that somebody plays with; the unit file itself is never touched. */
interface Play {
  readonly id: string;
  readonly owner: string;
  readonly name: string;
  readonly bytes: Uint8Array;
}

/** Something a unit can be told to do. */
export type Act =
  | { readonly act: 'install'; readonly envelope: ByteSource; readonly image: ByteSource | undefined }
  | { readonly act: 'start' }
  | { readonly act: 'keep' };

/** What came of it. `result` is absent where the power went first. */
export interface Outcome {
  readonly result: InstallResult | StartResult | KeepResult | undefined;
  /** The flash operation that the power cut fell on, counted from 1. */
  readonly cutAt: number | null;
  readonly operations: number;
  readonly strokes: readonly Stroke[];
  readonly unit: object;
}

const MOST_PLAYS = 4;
const LARGEST_UNIT = 64 * 2 ** 20;

/** Units to play with: copies in memory, a few for each session. */
export class Plays {
  readonly #plays = new Map<string, Play>();

  /** Takes a copy of a unit file. Throws `UnitFileError`, `DeskError` too-large. */
  async begin(session: Session, name: string, source: ByteSource, secrets: SecretSource): Promise<object> {
    if (source.size > LARGEST_UNIT) throw tooLarge();
    const play = {
      id: unguessable(),
      owner: session.id,
      name,
      bytes: new Uint8Array(source.read(0, source.size)),
    };
    const told = tellUnit(play, await powered(play, secrets));
    const own = [...this.#plays.values()].filter(({ owner }) => owner === session.id);
    for (const old of own.slice(0, Math.max(0, own.length + 1 - MOST_PLAYS))) this.#plays.delete(old.id);
    this.#plays.set(play.id, play);
    return told;
  }

  async look(session: Session, id: string, secrets: SecretSource): Promise<object> {
    const play = this.#find(session, id);
    return tellUnit(play, await powered(play, secrets));
  }

  /** The unit as a check sees it. */
  async view(session: Session, id: string, secrets: SecretSource) {
    return (await powered(this.#find(session, id), secrets)).unit.view();
  }

  /** Has the unit do something, perhaps with a power cut; `trial` leaves it as it was. */
  async act(
    session: Session,
    id: string,
    act: Act,
    options: {
      readonly secrets: SecretSource;
      readonly cut: Cut | undefined;
      readonly trial: boolean;
      readonly now: Date;
    },
  ): Promise<Outcome> {
    const kept = this.#find(session, id);
    const play = options.trial ? { ...kept, bytes: new Uint8Array(kept.bytes) } : kept;
    const strokes: Stroke[] = [];
    const unit = await powered(play, options.secrets, options.cut, (flash) => watchFlash(flash, strokes));
    let result: Outcome['result'];
    let cutAt: number | null = null;
    try {
      result = perform(unit, act, options.now);
    } catch (error) {
      if (!(error instanceof PowerCut)) throw error;
      cutAt = error.operation;
    }
    const { operations } = unit.flash;
    return { result, cutAt, operations, strokes, unit: tellUnit(play, await powered(play, options.secrets)) };
  }

  /** Has the unit answer a challenge. Throws `DeskError` not-there, `KeyError`. */
  async answer(
    session: Session,
    id: string,
    challenge: Uint8Array,
    secrets: SecretSource,
  ): Promise<Answered> {
    return answerPlay(await powered(this.#find(session, id), secrets), challenge, secrets);
  }

  /** Flips the lowest bit at an address, past the unit and past the rules of flash, as a probe would. */
  async flipBit(session: Session, id: string, address: number, secrets: SecretSource): Promise<object> {
    const play = this.#find(session, id);
    const { layout } = (await powered(play, secrets)).file;
    const region = layout.flash.regions.find(
      (each) => address >= each.address && address < each.address + each.size,
    );
    if (!region) throw outside(address);
    play.bytes[layout.flashOffset + region.offset + address - region.address]! ^= 1;
    return tellUnit(play, await powered(play, secrets));
  }

  forget(session: Session): void {
    for (const { id, owner } of [...this.#plays.values()]) if (owner === session.id) this.#plays.delete(id);
  }

  #find(session: Session, id: string): Play {
    const play = this.#plays.get(id);
    if (play?.owner === session.id) return play;
    throw new DeskError('not-there', 'that unit is no longer at the desk', 'choose it again');
  }
}

function perform({ unit }: PoweredUnit, act: Act, now: Date): Outcome['result'] {
  if (act.act === 'install') return unit.install({ envelope: act.envelope, image: act.image, now });
  return act.act === 'start' ? unit.start() : unit.keep();
}

function powered(
  { bytes }: Play,
  secrets: SecretSource,
  cut?: Cut,
  watch?: (flash: Flash) => Flash,
): Promise<PoweredUnit> {
  const store = {
    size: bytes.length,
    read: (offset: number, length: number) => bytes.slice(offset, offset + length),
    write: (offset: number, part: Uint8Array) => bytes.set(part, offset),
    flush: () => {},
  };
  return powerUp(store, { secretsFor: () => secrets, cut, ...(watch && { watch }) });
}

function tellUnit({ id, name }: Play, unit: PoweredUnit): object {
  const { record, layout } = unit.file;
  return {
    play: id,
    name,
    memory: record.memory,
    shown: unitJson(unit),
    flash: drawFlash(unit.flash, layout.flash.regions, record.memory.flash.erased_value),
  };
}

function outside(address: number): DeskError {
  return new DeskError(
    'request-wrong',
    `0x${address.toString(16)} does not lie in the flash of this unit`,
    'choose an address in one of the areas that are drawn',
  );
}

function tooLarge(): DeskError {
  return new DeskError(
    'too-large',
    `the unit file has more than ${LARGEST_UNIT / 2 ** 20} MiB, the most that the desk plays with`,
    'use the command line: fieldseal install',
  );
}
