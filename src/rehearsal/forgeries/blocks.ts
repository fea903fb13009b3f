/** Authentication blocks as a forger writes them: any header, any label, any key (RFC 9052 sections 4.2 and 6.2). */
import { CborMap, CborTag, type CborValue, encode } from '../../cbor/index.ts';
import { type HeaderParameter, LABEL, macStructure0, signStructure1 } from '../../cose/index.ts';
import { hmacSha256, sha256 } from '../../crypto/index.ts';
import { SECURITY_VERSION_LABEL } from '../../unit/index.ts';
import type { Certificate } from '../../x509/index.ts';
import { decodeValue } from './draft.ts';
import { FormUnknown } from './images.ts';
import type { Hand } from './throwaway.ts';

const SIGN1 = 18;
const MAC0 = 17;
const SHA_256 = -16;
export const HMAC_256 = 5;

/** What differs from a sound block. */
export interface BlockChanges {
  /** Algorithm that the protected header names; `null` names none there. Default the key's own. */
  readonly alg?: CborValue | null;
  /** In place of x5t. */
  readonly binding?: readonly HeaderParameter[];
  /** In place of the chain, as it goes into x5chain. */
  readonly certificates?: readonly Uint8Array[];
  /** Beside the rest of the protected header. */
  readonly more?: readonly HeaderParameter[];
  /** In place of the unprotected header. */
  readonly open?: readonly HeaderParameter[];
  /** In place of the nil payload. */
  readonly payload?: Uint8Array | null;
  /** What is signed or MACed. Default the structure of RFC 9052 for this kind of block. */
  readonly over?: (protectedBytes: Uint8Array, digest: Uint8Array) => Uint8Array;
  /** What becomes of the signature or tag. */
  readonly spoil?: (value: Uint8Array) => Uint8Array;
  readonly securityVersion?: CborValue;
  readonly tag?: number;
}

/** A MAC key with the id that payloads name. */
export interface HeldMacKey {
  readonly id: Uint8Array;
  readonly key: Uint8Array;
}

/** A COSE_Sign1 by a hand: x5t protected, x5chain beside it. */
export async function signedBlock(
  { signer, certificates }: Hand,
  digest: Uint8Array,
  changes: BlockChanges = {},
): Promise<Uint8Array> {
  const ders = changes.certificates ?? dersOf(certificates);
  const binding = changes.binding ?? [[LABEL.x5t, thumbprint(ders[0]!)]];
  const open = changes.open ?? [[LABEL.x5chain, x5chain(ders)]];
  const headers = protectedBytes(changes, signer.algorithm.id, binding);
  const made = await signer.sign((changes.over ?? signStructure1)(headers, digest));
  return block(SIGN1, headers, open, made, changes);
}

/** A COSE_Mac0 under a key, named by its id. */
export function macBlock(
  { id, key }: HeldMacKey,
  digest: Uint8Array,
  changes: BlockChanges = {},
): Uint8Array {
  const open = changes.open ?? [[LABEL.kid, id]];
  const headers = protectedBytes(changes, HMAC_256, []);
  const made = hmacSha256(key, (changes.over ?? macStructure0)(headers, digest));
  return block(MAC0, headers, open, made, changes);
}

function protectedBytes(
  { alg, more = [], securityVersion = 0 }: BlockChanges,
  own: number,
  binding: readonly HeaderParameter[],
): Uint8Array {
  const version: HeaderParameter[] = securityVersion === 0 ? [] : [[SECURITY_VERSION_LABEL, securityVersion]];
  const named: HeaderParameter[] = alg === null ? [] : [[LABEL.alg, alg ?? own]];
  return encode(new CborMap([...named, ...binding, ...version, ...more]));
}

function block(
  tag: number,
  headers: Uint8Array,
  open: readonly HeaderParameter[],
  made: Uint8Array,
  { payload = null, spoil = (value) => value, tag: given }: BlockChanges,
): Uint8Array {
  return encode(new CborTag(given ?? tag, [headers, new CborMap(open), payload, spoil(made)]));
}

/** COSE_CertHash of a certificate (RFC 9360 section 2). */
export function thumbprint(der: Uint8Array): CborValue {
  return [SHA_256, sha256(der)];
}

/** COSE_X509: one certificate as a byte string, several as an array (RFC 9360 section 2). */
export function x5chain(ders: readonly Uint8Array[]): CborValue {
  return ders.length === 1 ? ders[0]! : [...ders];
}

/** DER of certificates. */
export function dersOf(certificates: readonly Certificate[]): Uint8Array[] {
  return certificates.map(({ der }) => der);
}

/** The parts of a block, for changing what no signature covers, or what one does. */
export interface OpenBlock {
  readonly tag: number;
  readonly headers: Uint8Array;
  readonly open: ReadonlyMap<number, CborValue>;
  readonly made: CborValue;
}

/** Takes a COSE_Sign1 or COSE_Mac0 apart. Throws `FormUnknown` for another block. */
export function openBlock(bytes: Uint8Array): OpenBlock {
  const { tag, value } = decodeValue(bytes) as CborTag;
  if (tag !== SIGN1 && tag !== MAC0) throw new FormUnknown(`a block has the COSE tag ${tag}`);
  const [headers, open, , made] = value as readonly CborValue[];
  const entries = (open as CborMap).entries as readonly (readonly [number, CborValue])[];
  return { tag: Number(tag), headers: headers as Uint8Array, open: new Map(entries), made: made! };
}

/** Puts one together again, with a nil payload unless one is given. */
export function closeBlock(
  { tag, headers, open, made }: OpenBlock,
  payload: Uint8Array | null = null,
): Uint8Array {
  return encode(new CborTag(tag, [headers, new CborMap(open), payload, made]));
}

/** What the protected header of a block says, by label. */
export function protectedOf({ headers }: OpenBlock): Map<number, CborValue> {
  const map = decodeValue(headers) as CborMap;
  return new Map(map.entries as readonly (readonly [number, CborValue])[]);
}
