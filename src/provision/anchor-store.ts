import { equal } from '../bytes/index.ts';

/** What an overwrite attempt on a locked slot was seen to do. */
export type OverwriteObservation = 'refused' | 'overwritten';

/**
 * Port to the write-once memory of a unit that holds its trust anchors and MAC keys. A real station drives a debug probe or the
 * part's boot loader behind it.
 */
export interface AnchorStore {
  write(slot: number, bytes: Uint8Array): void;
  /** Locks every slot for good. */
  lock(): void;
  /** Tries to write; throws where the memory refuses. */
  overwrite(slot: number, bytes: Uint8Array): void;
  read(slot: number): Uint8Array;
}

/** The write-once memory of a virtual unit. */
export function virtualAnchorStore(): AnchorStore {
  const slots = new Map<number, Uint8Array>();
  let locked = false;
  const write = (slot: number, bytes: Uint8Array) => {
    if (locked) throw new Error('the anchor memory is locked');
    slots.set(slot, new Uint8Array(bytes));
  };
  return {
    write,
    overwrite: write,
    lock: () => {
      locked = true;
    },
    read: (slot) => new Uint8Array(slots.get(slot) ?? []),
  };
}

/**
 * Proves a lock by trying to break it: writes other bytes, then reads back. What counts is what is read, not whether the
 * write reported success.
 */
export function observeOverwrite(store: AnchorStore, slot: number): OverwriteObservation {
  const before = store.read(slot);
  const other = before.map((byte) => byte ^ 0xff);
  try {
    store.overwrite(slot, other);
  } catch {
    // A refusal is what a locked memory answers; the bytes decide below.
  }
  return equal(store.read(slot), before) ? 'refused' : 'overwritten';
}
