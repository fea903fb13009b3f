import { concat, toHex } from '../../../src/bytes/index.ts';
import {
  type AeadAlgorithm,
  contentAlgorithm,
  decodeEncrypted,
  type EncryptMessage,
  type PlaintextSink,
  type RandomSource,
} from '../../../src/cose/index.ts';

export const A128CTR = contentAlgorithm(-65534)!;
export const A256CTR = contentAlgorithm(-65532)!;
export const A128GCM = contentAlgorithm(1) as AeadAlgorithm;
export const A256GCM = contentAlgorithm(3) as AeadAlgorithm;
export const CHACHA = contentAlgorithm(24) as AeadAlgorithm;

/** Every content algorithm of the mandatory profiles, and A256GCM. */
export const CONTENT = [A128CTR, A256CTR, A128GCM, A256GCM, CHACHA];

/** Says what was scripted, once. For tests that need published keys and IVs. */
export function scripted(...draws: Uint8Array[]): RandomSource {
  const left = [...draws];
  return () => left.shift()!.slice();
}

/** A sink in memory that shows what became of it. */
export class MemorySink implements PlaintextSink {
  readonly pieces: Uint8Array[] = [];
  readonly offsets: number[] = [];
  state: 'open' | 'committed' | 'discarded' = 'open';

  write(piece: Uint8Array, offset: number): void {
    this.pieces.push(piece);
    this.offsets.push(offset);
  }

  commit(): void {
    this.state = 'committed';
  }

  discard(): void {
    this.state = 'discarded';
  }

  get hex(): string {
    return toHex(concat(...this.pieces));
  }
}

export const readInfo = (info: Uint8Array) => decodeEncrypted(info, { kind: 'encrypt' }) as EncryptMessage;
