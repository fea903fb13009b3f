/**
 * Looks over the shoulder of every unit that a suite asks, and keeps the questions, so that the device kit can be asked the same.
 * Stands in for `src/unit` in the modules of a suite (`vi.mock`).
 */

import type { KitOffer } from '../../scripts/device/unit-cases.ts';
import { type ByteSource, toHex } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type * as UnitRoom from '../../src/unit/index.ts';
import type { InstallRequest, Unit, UnitParts } from '../../src/unit/index.ts';
import type { AskedUnit, FlashQuestion, Question } from './questions.ts';

/** Everything that was asked, in order. */
export const asked: Question[] = [];
/** How many questions cannot be put to the kit, by the reason. */
export const notPut = new Map<string, number>();

/** The runner takes a record of a mebibyte at most. */
const RECORD_LIMIT = 1_000_000;

const secretsOf = new WeakMap<object, ReadonlyMap<string, Uint8Array>>();
/** One copy of each content of flash, however many questions it belongs to. */
const contents = new Map<string, Uint8Array>();

function once(content: Uint8Array): Uint8Array {
  const digest = toHex(sha256(content));
  const known = contents.get(digest) ?? content;
  contents.set(digest, known);
  return known;
}

const leave = (reason: string) => void notPut.set(reason, (notPut.get(reason) ?? 0) + 1);

/** The whole of a source; nothing where it is larger than a record can be. */
const bytesOf = (source: ByteSource): Uint8Array | undefined =>
  source.size <= RECORD_LIMIT ? source.read(0, source.size) : undefined;

function offerOf({ envelope, image, now, components, dependencies }: InstallRequest): KitOffer | undefined {
  if (components || dependencies) return undefined;
  const bytes = bytesOf(envelope);
  const beside = image && bytesOf(image);
  return bytes && (beside || !image) ? { envelope: bytes, image: beside, now } : undefined;
}

function contentKeysOf(unwrappers: AskedUnit['unwrappers']) {
  const contentKeys = unwrappers && secretsOf.get(unwrappers);
  return { unwrappers, ...(contentKeys && { contentKeys }) };
}

/** The unit room, watched. */
export function watched(room: typeof UnitRoom): typeof UnitRoom {
  return {
    ...room,
    unwrappersOf(record, secrets) {
      const unwrappers = room.unwrappersOf(record, secrets);
      secretsOf.set(unwrappers, new Map(secrets.contentKeys));
      return unwrappers;
    },
    checkForUnit(request) {
      const { record, macKeys, unwrappers, state } = request.unit;
      const offer = offerOf(request);
      const unit = { record, macKeys, marksKey: new Uint8Array(32), ...contentKeysOf(unwrappers) };
      if (offer) asked.push({ kind: 'view', unit, state, offer });
      else leave('parts beside the envelope that the kit leaves out, or larger than a case file takes');
      return room.checkForUnit(request);
    },
    openUnit: (parts) => watchedUnit(room, parts),
  };
}

function watchedUnit(room: typeof UnitRoom, parts: UnitParts): Unit {
  const memory = parts.memory ?? { running: undefined };
  const unit = room.openUnit({ ...parts, memory });
  const { record, macKeys, marksKey, recovery, flash, unwrappers } = parts;
  const kit: AskedUnit = { record, macKeys, marksKey, recovery, ...contentKeysOf(unwrappers) };
  const note = (about: Pick<FlashQuestion, 'what' | 'offer' | 'floors'>) => {
    if (!(flash instanceof room.EmulatedFlash)) return leave('flash that somebody changes meanwhile');
    const content = once(flash.read(0, flash.size));
    asked.push({ kind: 'flash', unit: kit, ...about, running: memory.running, content });
  };
  return {
    ...unit,
    install(request) {
      const offer = offerOf(request);
      if (offer) note({ what: 'install', offer });
      else leave('parts beside the envelope that the kit leaves out, or larger than a case file takes');
      return unit.install(request);
    },
    start() {
      note({ what: 'start' });
      return unit.start();
    },
    keep() {
      note({ what: 'keep' });
      return unit.keep();
    },
    raiseFloors(floors) {
      const whole = { sequenceNumber: 0n, securityVersion: 0, signerGeneration: 0, ...floors };
      note({ what: 'raise', floors: whole });
      return unit.raiseFloors(floors);
    },
  };
}
