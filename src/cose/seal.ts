import { CborMap, CborTag, type CborValue, encode } from '../cbor/index.ts';
import { hmacSha256, readPublicKey, verifySignature } from '../crypto/index.ts';
import { type MacAlgorithm, macAlgorithm, type SignatureAlgorithm } from './algorithms.ts';
import { LABEL } from './labels.ts';
import { macStructure0, signStructure1 } from './structures.ts';

/** A private signing key in whatever custody. */
export interface Signer {
  readonly algorithm: SignatureAlgorithm;
  /** DER SubjectPublicKeyInfo. */
  readonly publicKey: Uint8Array;
  /** Raw signature over the message, which the custody hashes as the algorithm asks (RFC 9053 section 2). */
  sign(message: Uint8Array): Promise<Uint8Array>;
}

/** A shared MAC key in whatever custody. */
export interface MacKey {
  readonly algorithm: MacAlgorithm;
  /** A hint by which a recipient finds the key (kid, RFC 9052 section 3.1). */
  readonly keyId: Uint8Array;
  /** The whole tag over the message. */
  mac(message: Uint8Array): Promise<Uint8Array>;
}

/** One header parameter to write. */
export type HeaderParameter = readonly [label: number | string, value: CborValue];

/** What a message is made of. `alg` is added to the protected header. */
export interface SealParts {
  readonly payload: Uint8Array;
  /** Whether the message carries its payload. Default false: detached, authenticated but not part of the message. */
  readonly attached?: boolean;
  readonly protectedHeaders?: readonly HeaderParameter[];
  readonly unprotectedHeaders?: readonly HeaderParameter[];
  /** RFC 9052 section 4.3. Default none. */
  readonly externalAad?: Uint8Array;
}

const SIGN1_TAG = 18;
const MAC0_TAG = 17;

/**
 * Signs a payload: an encoded COSE_Sign1 with tag 18, payload nil unless attached (RFC 9052 sections 4.2 and 4.4). The
 * signature is verified before it is handed out. Throws `TypeError` for a legacy algorithm or a label given twice,
 * `Error` where the custody returns a signature that its own public key does not verify.
 */
export async function sealSign1(signer: Signer, parts: SealParts): Promise<Uint8Array> {
  if (signer.algorithm.status === 'legacy') {
    throw new TypeError(
      `${signer.algorithm.name} is checked but no longer sealed with: use ESP256 or Ed25519`,
    );
  }
  const headers = layOutHeaders(signer.algorithm.id, parts);
  const message = signStructure1(headers.protectedBytes, parts.payload, parts.externalAad);
  const signature = await signer.sign(message);
  requireOwnSignature(signer, message, signature);
  return encode(
    new CborTag(SIGN1_TAG, [headers.protectedBytes, headers.unprotected, carried(parts), signature]),
  );
}

/**
 * MACs a payload: an encoded COSE_Mac0 with tag 17, payload nil unless attached (RFC 9052 sections 6.2 and 6.3). The key's
 * id goes out as unprotected kid unless the headers name one. Throws `TypeError` for a label given twice, `Error`
 * where the custody returns a tag of the wrong length.
 */
export async function sealMac0(key: MacKey, parts: SealParts): Promise<Uint8Array> {
  const headers = layOutHeaders(key.algorithm.id, withKeyId(key, parts));
  const tag = await key.mac(macStructure0(headers.protectedBytes, parts.payload, parts.externalAad));
  if (tag.length !== key.algorithm.tagLength) {
    throw new Error(
      `the MAC key returned ${tag.length} bytes where ${key.algorithm.name} has ${key.algorithm.tagLength}: ` +
        'nothing was sealed; check the custody of the key',
    );
  }
  return encode(new CborTag(MAC0_TAG, [headers.protectedBytes, headers.unprotected, carried(parts), tag]));
}

/** A MAC key held in memory. Throws `TypeError` for a key shorter than its algorithm asks (RFC 9053 section 3.1). */
export function heldMacKey(keyId: Uint8Array, key: Uint8Array): MacKey {
  const algorithm = macAlgorithm(5)!;
  if (key.length < algorithm.minimumKeyLength) {
    throw new TypeError(
      `a MAC key of ${key.length} bytes is too short for ${algorithm.name}: use ${algorithm.minimumKeyLength} random bytes`,
    );
  }
  return { algorithm, keyId, mac: async (message) => hmacSha256(key, message) };
}

function carried(parts: SealParts): Uint8Array | null {
  return parts.attached ? parts.payload : null;
}

function layOutHeaders(
  algorithmId: number,
  parts: SealParts,
): { protectedBytes: Uint8Array; unprotected: CborMap } {
  const authenticated: HeaderParameter[] = [[LABEL.alg, algorithmId], ...(parts.protectedHeaders ?? [])];
  const open = parts.unprotectedHeaders ?? [];
  requireLabelsOnce([...authenticated, ...open]);
  return { protectedBytes: encode(new CborMap(authenticated)), unprotected: new CborMap(open) };
}

/** Throws `TypeError` where a label stands twice in a layer to be written (RFC 9052 section 3). */
export function requireLabelsOnce(headers: readonly HeaderParameter[]): void {
  const labels = headers.map(([label]) => label);
  const repeated = labels.find((label, i) => labels.indexOf(label) !== i);
  if (repeated !== undefined) throw new TypeError(`header label ${repeated} is given twice`);
}

function withKeyId(key: MacKey, parts: SealParts): SealParts {
  const open = parts.unprotectedHeaders ?? [];
  const given = [...open, ...(parts.protectedHeaders ?? [])].some(([label]) => label === LABEL.kid);
  return given ? parts : { ...parts, unprotectedHeaders: [...open, [LABEL.kid, key.keyId]] };
}

/** A faulty or mismatched custody must not spend a sequence number on an envelope that no unit takes. */
function requireOwnSignature(signer: Signer, message: Uint8Array, signature: Uint8Array): void {
  const key = readPublicKey(signer.publicKey);
  if (!key || key.type !== signer.algorithm.keyType || !verifySignature(key, message, signature)) {
    throw new Error(
      'the signing key returned a signature that its own public key does not verify: nothing was sealed; ' +
        'check that private and public key belong together and that the custody is sound',
    );
  }
}
