/** The private form of an HSS/LMS key, our own: level count, then LMS and LM-OTS type a level, then 32 secret bytes. */
import { concat } from '../../bytes/index.ts';
import { type HssSecret, type HssShape, hssShape } from '../../crypto/index.ts';
import { KeyError } from '../error.ts';

/** Length of the master secret in bytes. */
export const MASTER_LENGTH = 32;

/** The bytes of a secret. To be zeroed by the caller. */
export function writeHssSecret({ shape, master }: HssSecret): Uint8Array {
  const types = Uint32Array.from([shape.length, ...shape.flatMap(({ lms, ots }) => [lms.type, ots.type])]);
  const head = new DataView(new ArrayBuffer(types.length * 4));
  types.forEach((type, i) => {
    head.setUint32(i * 4, type);
  });
  return concat(new Uint8Array(head.buffer), master);
}

/** Reads a secret; its master is a copy, to be zeroed. Throws `KeyError` key-file-damaged. */
export function readHssSecret(bytes: Uint8Array): HssSecret {
  const shape = readShape(bytes);
  const masterStart = shape && 4 + shape.length * 8;
  if (!shape || bytes.length !== masterStart! + MASTER_LENGTH) {
    throw new KeyError(
      'key-file-damaged',
      'The key file opens, but the HSS/LMS key inside is not valid.',
      'Fetch the file from its backup.',
    );
  }
  return { shape, master: bytes.slice(masterStart) };
}

function readShape(bytes: Uint8Array): HssShape | undefined {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const levels = bytes.length >= 4 ? view.getUint32(0) : 0;
  if (levels > 8 || bytes.length < 4 + levels * 8) return undefined;
  return hssShape(
    Array.from({ length: levels }, (_, i) => ({
      lms: view.getUint32(4 + i * 8),
      ots: view.getUint32(8 + i * 8),
    })),
  );
}
