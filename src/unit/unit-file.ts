import { fromHex } from '../bytes/index.ts';
import { FlashError } from './flash.ts';
import { type Cut, EmulatedFlash } from './flash-emulated.ts';
import type { Store } from './flash-pages.ts';
import type { Noise } from './flash-unstable.ts';
import type { RecoveryImage, VolatileMemory } from './life-board.ts';
import { replaceArea } from './slots.ts';
import { storedMemory } from './stored-memory.ts';
import {
  decodeUnitFileHeader,
  encodeUnitFileHeader,
  type UnitFileContent,
  UnitFileError,
} from './unit-file-header.ts';
import { HEADER_SIZE, layoutOf, type UnitFileLayout } from './unit-file-layout.ts';

/** A unit file that was opened: what its header says, and its flash under power. */
export interface UnitFile extends UnitFileContent {
  readonly layout: UnitFileLayout;
  readonly recoveryImage: RecoveryImage | undefined;
  /** What the unit remembers while it has power, kept in the file between commands. */
  readonly memory: VolatileMemory;
  /** The flash; `noise` decides how unstable bits read, `cut` schedules when the power goes. */
  flash(options: { noise: Noise; cut?: Cut | undefined }): EmulatedFlash;
}

/**
 * Writes a new unit file: its header, and a flash as it comes from the factory. `store` must have the size that
 * `unitFileLayout` gives and hold zeros. The unit has no marks yet (`beginLife`). Throws `UnitFileError`.
 */
export function createUnitFile(store: Store, content: UnitFileContent): UnitFile {
  requireSize(store, layoutOf(content.record));
  store.write(0, encodeUnitFileHeader(content));
  return opened(store, content);
}

/** Opens a unit file. Throws `UnitFileError` where it is none, its header was changed, or it was cut short. */
export function openUnitFile(store: Store): UnitFile {
  const content = decodeUnitFileHeader(store.read(0, Math.min(HEADER_SIZE, store.size)));
  requireSize(store, layoutOf(content.record));
  return opened(store, content);
}

function opened(store: Store, content: UnitFileContent): UnitFile {
  const { record, recovery } = content;
  const layout = layoutOf(record);
  const place = {
    dataOffset: layout.flashOffset,
    size: layout.flash.size,
    notesOffset: layout.notesOffset,
  };
  return {
    ...content,
    layout,
    recoveryImage: recovery && { size: recovery.size_bytes, digest: fromHex(recovery.digest) },
    memory: storedMemory(store, layout),
    flash: (options) => new EmulatedFlash(store, place, record.memory.flash, options),
  };
}

function requireSize(store: Store, layout: UnitFileLayout): void {
  if (store.size === layout.size) return;
  const how = store.size < layout.size ? 'it was cut short' : 'something was added to it';
  const message =
    `the unit file has ${store.size} bytes and its memory map needs ${layout.size}: ${how}; ` +
    'take a copy from before, or provision the unit again';
  throw new UnitFileError('size-wrong', message);
}

/** Programs the recovery image of a new unit. Throws `FlashError` where it does not fit its area. */
export function programRecovery(file: UnitFile, flash: EmulatedFlash, image: Uint8Array): void {
  const area = file.layout.flash.recovery;
  if (!area || image.length > area.size) {
    const room = area ? `${area.size} bytes` : 'no area';
    throw new FlashError(
      'out-of-range',
      0,
      `a recovery image of ${image.length} bytes; the map has ${room} for it`,
    );
  }
  replaceArea(flash, area, image);
}
