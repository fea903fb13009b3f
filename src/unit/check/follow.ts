import { toHex } from '../../bytes/index.ts';
import {
  INVOCATION_PROCEDURE,
  type Manifest,
  type Outcome,
  type Parameters,
  type ProcessorHost,
  runSequences,
  type TargetComponent,
} from '../../suit/index.ts';
import { UNIT_LIMITS } from '../limits.ts';
import { isPrecursor } from './host.ts';
import type { Payload } from './install-on-paper.ts';

/** An image that a manifest names, and where a processor would get it. Size in bytes. */
export interface WantedImage {
  readonly digest: Uint8Array;
  readonly size: number | undefined;
  /** Undefined where the manifest brings no image, or its install sequence is not there. */
  readonly payload: Payload | undefined;
  /** It comes out of a decryption, for which the content key is needed. */
  readonly encrypted: boolean;
  /** It comes out of a delta, for which the precursor is needed. */
  readonly byDelta: boolean;
}

const OK: Outcome = { ok: true };
const IMAGE_MATCH = 3;
const SLOT = 5;
const WRITE = 18;
const FETCH = 21;
const COPY = 22;
const ENCRYPTION_INFO = 19;
const DELTA_INFO = -257;
/** A slot that no manifest can name: each branch asks in vain, so that all are heard of. */
const NO_SLOT = -1;
const MAXIMUM_SLOTS = UNIT_LIMITS.slots.value;

/**
 * The images of a manifest as a processor of unknown kind would meet them: one list for each slot that the manifest
 * asks about, one list where it asks about none. Nothing is carried out.
 */
export function imagesBySlot(manifest: Manifest): WantedImage[][] {
  const asked = new Set<number>();
  const regardless = imagesInSlot(manifest, NO_SLOT, asked);
  if (asked.size === 0) return [regardless];
  const bySlot: WantedImage[][] = [];
  for (const slot of asked) {
    if (bySlot.length < MAXIMUM_SLOTS) bySlot.push(imagesInSlot(manifest, slot, asked));
  }
  return bySlot;
}

/** Whether a processor would decrypt something, in whatever slot. */
export function decryptsSomething(manifest: Manifest): boolean {
  return follow(manifest, NO_SLOT, new Set()).decrypts;
}

function imagesInSlot(manifest: Manifest, slot: number, asked: Set<number>): WantedImage[] {
  return follow(manifest, slot, asked).images();
}

function follow(manifest: Manifest, slot: number, asked: Set<number>): Follower {
  const follower = new Follower(slot, asked);
  runSequences(manifest, ['payload-fetch', 'install'], follower);
  runSequences(manifest, INVOCATION_PROCEDURE, follower);
  return follower;
}

/** Takes every condition for met, but for the slot, and writes down who gets whose bytes. */
class Follower implements ProcessorHost {
  readonly #slot: number;
  readonly #asked: Set<number>;
  readonly #contents = new Map<number, Payload>();
  /** Components that hold what came out of a decryption. */
  readonly #decrypted = new Set<number>();
  /** Components that hold what a delta made. */
  readonly #byDelta = new Set<number>();
  readonly #named = new Map<string, WantedImage>();

  constructor(slot: number, asked: Set<number>) {
    this.#slot = slot;
    this.#asked = asked;
  }

  condition(code: number, { index, identifier }: TargetComponent, parameters: Parameters): Outcome {
    if (code === SLOT) {
      const slot = parameters.get(5)!;
      this.#asked.add(slot);
      return slot === this.#slot ? OK : { ok: false, reason: 'host', detail: 'another slot' };
    }
    if (code === IMAGE_MATCH && !isPrecursor(identifier)) this.#name(index, parameters);
    return OK;
  }

  directive(code: number, { index, issuer }: TargetComponent, parameters: Parameters): Outcome {
    if (code === FETCH)
      this.#contents.set(index, { from: 'uri', uri: parameters.get(21)!, issuer: issuer.manifest });
    if (code !== WRITE && code !== COPY) return OK;
    const made = parameters.has(DELTA_INFO) ? this.#byDelta : this.#decrypted;
    if (parameters.has(ENCRYPTION_INFO) || parameters.has(DELTA_INFO)) {
      this.#contents.delete(index);
      made.add(index);
      return OK;
    }
    const payload: Payload | undefined =
      code === WRITE
        ? { from: 'manifest', content: parameters.get(18)! }
        : this.#contents.get(parameters.get(22)!);
    if (payload) this.#contents.set(index, payload);
    if (code === COPY && this.#byDelta.has(parameters.get(22)!)) this.#byDelta.add(index);
    return OK;
  }

  get decrypts(): boolean {
    return this.#decrypted.size > 0;
  }

  images(): WantedImage[] {
    return [...this.#named.values()];
  }

  #name(index: number, parameters: Parameters): void {
    const digest = parameters.get(3)!.bytes;
    const id = toHex(digest);
    const known = this.#named.get(id);
    const payload = this.#contents.get(index) ?? known?.payload;
    const encrypted = this.#decrypted.has(index) || (known?.encrypted ?? false);
    const byDelta = this.#byDelta.has(index) || (known?.byDelta ?? false);
    this.#named.set(id, { digest, size: parameters.get(14) ?? known?.size, payload, encrypted, byDelta });
  }
}
