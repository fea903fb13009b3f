import { concat } from '../bytes/index.ts';
import { SEED_SIZE } from './boot-record.ts';
import type { Store } from './flash-pages.ts';
import type { BootSession, RunningImage, VolatileMemory } from './life-board.ts';
import { decodeSelfCheck, encodeSelfCheck, type SelfCheckMemory } from './self-check-memory.ts';
import { MEMORY_SIZE, type UnitFileLayout } from './unit-file-layout.ts';

const RUNNING: readonly (RunningImage | undefined)[] = [undefined, 0, 1, 'recovery'];
const BOOT_AT = 1;
const BOOT_SIZE = 5 + SEED_SIZE;
const NOTED = 1;
const COUNTED = 2;

/** What a unit remembers while it has power, kept in its file between commands (`unit-file-layout.ts`). */
export function storedMemory(
  store: Store,
  { memoryOffset: offset, memorySize }: UnitFileLayout,
): VolatileMemory {
  const checkSize = memorySize - MEMORY_SIZE;
  return {
    get running(): RunningImage | undefined {
      return RUNNING[store.read(offset, 1)[0]!];
    },
    set running(image: RunningImage | undefined) {
      store.write(offset, Uint8Array.of(RUNNING.indexOf(image)));
    },
    get boot(): BootSession | undefined {
      return decodeBootSession(store.read(offset + BOOT_AT, BOOT_SIZE));
    },
    set boot(session: BootSession | undefined) {
      store.write(offset + BOOT_AT, encodeBootSession(session));
    },
    get check(): SelfCheckMemory | undefined {
      return checkSize === 0 ? undefined : decodeSelfCheck(store.read(offset + MEMORY_SIZE, checkSize));
    },
    set check(memory: SelfCheckMemory | undefined) {
      if (checkSize > 0) store.write(offset + MEMORY_SIZE, encodeSelfCheck(memory));
    },
  };
}

function encodeBootSession(session: BootSession | undefined): Uint8Array {
  if (!session) return new Uint8Array(BOOT_SIZE);
  const head = new DataView(new ArrayBuffer(BOOT_SIZE - SEED_SIZE));
  head.setUint8(0, session.count === undefined ? NOTED : COUNTED);
  head.setUint32(1, session.count ?? 0);
  return concat(new Uint8Array(head.buffer), session.seed);
}

function decodeBootSession(bytes: Uint8Array): BootSession | undefined {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  const kind = view.getUint8(0);
  if (kind !== NOTED && kind !== COUNTED) return undefined;
  return {
    count: kind === COUNTED ? view.getUint32(1) : undefined,
    seed: bytes.slice(BOOT_SIZE - SEED_SIZE),
  };
}
