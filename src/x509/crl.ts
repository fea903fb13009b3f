/** Certificate revocation lists (RFC 5280 section 5): complete ones of an issuer over its own certificates. */
import { algorithmFor, readAlgorithm, sameAlgorithm, signatureToRaw } from './algorithm.ts';
import { readIssuer, readSerial } from './certificate.ts';
import { contextTag, type DerReader, readDer, TAG } from './der.ts';
import { constructed, enumerated, integer, sequence } from './der-write.ts';
import { type Extension, readExtension } from './extensions.ts';
import type { Issuer } from './issue.ts';
import { keyIdentifier } from './key.ts';
import { X509_LIMITS } from './limits.ts';
import type { Name } from './name.ts';
import { OID } from './oids.ts';
import { authorityKeyExtension, extension } from './profile.ts';
import { requireKey, type SignCallback, signStructure } from './signing.ts';
import { readTime, writeTime } from './time.ts';
import { X509Error } from './x509-error.ts';

/** Reasons by their names, with their numbers (RFC 5280 section 5.3.1). */
export const REVOCATION_REASONS = {
  unspecified: 0,
  keyCompromise: 1,
  cACompromise: 2,
  affiliationChanged: 3,
  superseded: 4,
  cessationOfOperation: 5,
  certificateHold: 6,
  removeFromCRL: 8,
  privilegeWithdrawn: 9,
  aACompromise: 10,
} as const;
export type RevocationReason = keyof typeof REVOCATION_REASONS;

/** One revoked certificate: its serial number's content bytes in hexadecimal, since when, and why. */
export interface Revocation {
  readonly serial: string;
  readonly date: Date;
  readonly reason?: RevocationReason;
}

/** One list. Nothing here says that it is authentic. */
export interface Crl {
  readonly der: Uint8Array;
  readonly tbs: Uint8Array;
  readonly issuer: Name;
  readonly thisUpdate: Date;
  /** Absent where the list does not say when the next one comes: it then counts as stale wherever time is judged. */
  readonly nextUpdate: Date | undefined;
  readonly revoked: ReadonlyMap<string, Revocation>;
  /** Critical extensions, of the list or an entry, that are not understood here: the list must not be used. */
  readonly unknownCritical: readonly string[];
  readonly signatureAlgorithm: string;
  readonly signature: Uint8Array;
}

/** What a list is to say. `number` grows with each list of an issuer (section 5.2.3). */
export interface CrlDescription {
  readonly issuer: Issuer;
  readonly number: number;
  readonly thisUpdate: Date;
  readonly nextUpdate: Date;
  readonly revoked: readonly Revocation[];
}

const VERSION_2 = 1;
const REASON_NAMES: ReadonlyMap<number, RevocationReason> = new Map(
  Object.entries(REVOCATION_REASONS).map(([name, number]) => [number, name as RevocationReason]),
);
const UNDERSTOOD: ReadonlySet<string> = new Set([
  OID.cRLNumber,
  OID.authorityKeyIdentifier,
  OID.reasonCode,
  OID.invalidityDate,
]);

/** Writes a list: its DER. `sign` gets the TBSCertList and answers with the issuer's raw signature. */
export async function writeCrl(description: CrlDescription, sign: SignCallback): Promise<Uint8Array> {
  const { issuer, number, thisUpdate, nextUpdate, revoked } = description;
  if (!(thisUpdate < nextUpdate)) throw new X509Error('validity');
  const key = requireKey(issuer.spki);
  const tbs = sequence(
    integer(VERSION_2),
    algorithmFor(key),
    issuer.name.der,
    writeTime(thisUpdate),
    writeTime(nextUpdate),
    ...(revoked.length > 0 ? [sequence(...revoked.map(writeEntry))] : []),
    constructed(
      0,
      sequence(
        authorityKeyExtension(issuer.keyIdentifier ?? keyIdentifier(issuer.spki)),
        extension(OID.cRLNumber, false, integer(number)),
      ),
    ),
  );
  return signStructure(tbs, key, sign);
}

/** Reads one list, at most 4 MiB; nothing may follow it. Throws `DerError` or `X509Error` with the byte offset. */
export function parseCrl(der: Uint8Array): Crl {
  return readDer(new Uint8Array(der), readCrl, { maxBytes: X509_LIMITS.crlSize.value });
}

function writeEntry({ serial, date, reason }: Revocation): Uint8Array {
  const parts = [integer(new Uint8Array(Buffer.from(serial, 'hex'))), writeTime(date)];
  if (reason) {
    parts.push(sequence(extension(OID.reasonCode, false, enumerated(REVOCATION_REASONS[reason]))));
  }
  return sequence(...parts);
}

function readCrl(reader: DerReader): Crl {
  const outer = reader.element(TAG.sequence);
  const inner = reader.inside(outer);
  const tbsElement = inner.element(TAG.sequence);
  const outerAlgorithm = readAlgorithm(inner);
  const signatureValue = inner.bitStringBytes();
  inner.finish();
  const { algorithm, ...tbs } = readTbs(inner.inside(tbsElement));
  if (!sameAlgorithm(algorithm, outerAlgorithm))
    throw new X509Error('algorithm-mismatch', { offset: tbsElement.end });
  return {
    der: outer.whole,
    tbs: tbsElement.whole,
    ...tbs,
    signatureAlgorithm: outerAlgorithm.oid,
    signature: signatureToRaw(outerAlgorithm.oid, signatureValue),
  };
}

// TBSCertList (RFC 5280 section 5.1): fields in order.
function readTbs(reader: DerReader) {
  const start = reader.offset;
  const version = reader.peek() === TAG.integer ? reader.unsigned() : 0;
  if (version > VERSION_2) throw new X509Error('version', { offset: start });
  const algorithm = readAlgorithm(reader);
  const issuer = readIssuer(reader);
  const thisUpdate = readTime(reader);
  const nextUpdate = isTime(reader.peek()) ? readTime(reader) : undefined;
  const unknownCritical = new Set<string>();
  const entries =
    reader.enterOptional(TAG.sequence)?.each((inner) => readEntry(inner, unknownCritical)) ?? [];
  const tagged = version === VERSION_2 ? reader.enterOptional(contextTag(0, 'constructed')) : undefined;
  tagged?.enter().each((inner) => void noteUnknown(readExtension(inner).extension, unknownCritical));
  tagged?.finish();
  reader.finish();
  return {
    algorithm,
    issuer,
    thisUpdate,
    nextUpdate,
    revoked: new Map(entries.map((entry) => [entry.serial, entry])),
    unknownCritical: [...unknownCritical],
  };
}

function isTime(tag: number | undefined): boolean {
  return tag === TAG.utcTime || tag === TAG.generalizedTime;
}

function readEntry(list: DerReader, unknownCritical: Set<string>): Revocation {
  const reader = list.enter();
  const serial = readSerial(reader);
  const date = readTime(reader);
  let reason: RevocationReason | undefined;
  reader.enterOptional(TAG.sequence)?.each((inner) => {
    const { extension: found, read } = readExtension(inner);
    noteUnknown(found, unknownCritical);
    if (found.oid === OID.reasonCode)
      reason = REASON_NAMES.get(read((value) => value.unsigned(undefined, TAG.enumerated)));
  });
  reader.finish();
  return reason ? { serial, date, reason } : { serial, date };
}

function noteUnknown({ oid, critical }: Extension, unknownCritical: Set<string>): void {
  if (critical && !UNDERSTOOD.has(oid)) unknownCritical.add(oid);
}
