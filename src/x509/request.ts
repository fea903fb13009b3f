/** Certification requests (RFC 2986, PKCS#10): how an offline key asks for a certificate. */
import type { KeyType } from '../crypto/index.ts';
import { readAlgorithm, signatureToRaw, UNIT_ALGORITHMS } from './algorithm.ts';
import { readSpki } from './certificate.ts';
import { contextTag, type DerReader, readDer, TAG } from './der.ts';
import { constructed, integer, oid, sequence, setOf } from './der-write.ts';
import { type Extensions, type KnownExtensions, readExtensions } from './extensions.ts';
import { urisOf } from './general-name.ts';
import { X509_LIMITS } from './limits.ts';
import { hasTrialMark, type Name, readName, withTrialMark } from './name.ts';
import { OID } from './oids.ts';
import { type Profile, profileExtensions, profileOf, type SignerRights } from './profile.ts';
import { requireKey, type SignCallback, signStructure } from './signing.ts';
import { X509Error } from './x509-error.ts';

/** What a request is to ask for. */
export interface RequestDescription extends SignerRights {
  readonly profile: Profile;
  readonly subject: Name;
  /** DER SubjectPublicKeyInfo of the asking key. */
  readonly publicKey: Uint8Array;
  readonly trial: boolean;
}

/** A request whose signature proves that the asker holds the key. What it asks for is still the issuer's to decide. */
export interface CertificationRequest extends KnownExtensions {
  readonly der: Uint8Array;
  readonly subject: Name;
  readonly spki: Uint8Array;
  readonly keyType: KeyType;
  readonly profile: Profile | undefined;
  /** Requested scope: the URIs of the requested subjectAltName. */
  readonly subjectAltUris: readonly string[];
  readonly unknownCritical: readonly string[];
  readonly trial: boolean;
}

const NO_EXTENSIONS: Extensions = { all: [], known: {}, unknownCritical: [] };

/** Writes a request: its DER. `sign` gets the CertificationRequestInfo and answers with the asking key's raw signature. */
export async function writeRequest(description: RequestDescription, sign: SignCallback): Promise<Uint8Array> {
  const key = requireKey(description.publicKey);
  const subject = description.trial ? withTrialMark(description.subject) : description.subject;
  const extensions = sequence(...profileExtensions(description.profile, description));
  const info = sequence(
    integer(0),
    subject.der,
    description.publicKey,
    constructed(0, sequence(oid(OID.extensionRequest), setOf(extensions))),
  );
  return signStructure(info, key, sign);
}

/**
 * Reads a request and verifies its signature with the key in it. Throws `DerError`, or `X509Error`:
 * key-unusable, request-signature, and the structural ones.
 */
export function parseRequest(der: Uint8Array): CertificationRequest {
  return readDer(new Uint8Array(der), readRequest, { maxBytes: X509_LIMITS.requestSize.value });
}

function readRequest(reader: DerReader): CertificationRequest {
  const outer = reader.element(TAG.sequence);
  const inner = reader.inside(outer);
  const infoElement = inner.element(TAG.sequence);
  const algorithm = readAlgorithm(inner);
  const signature = signatureToRaw(algorithm.oid, inner.bitStringBytes());
  inner.finish();
  const { subject, spki, extensions } = readInfo(inner.inside(infoElement));
  const key = requireKey(spki);
  const row = UNIT_ALGORITHMS.find(({ oid: identifier }) => identifier === algorithm.oid);
  if (!row?.verify(spki, infoElement.whole, signature)) throw new X509Error('request-signature');
  const { known, unknownCritical } = extensions;
  return {
    der: outer.whole,
    subject,
    spki,
    keyType: key.type,
    ...known,
    profile: profileOf(known),
    subjectAltUris: urisOf(known.subjectAltNames),
    unknownCritical,
    trial: hasTrialMark(subject),
  };
}

// CertificationRequestInfo (RFC 2986 section 4.1): version 0, subject, key, attributes [0].
function readInfo(reader: DerReader): { subject: Name; spki: Uint8Array; extensions: Extensions } {
  const start = reader.offset;
  if (reader.unsigned() !== 0) throw new X509Error('version', { offset: start });
  const subject = readName(reader);
  const spki = readSpki(reader);
  const attributes = reader.enter(contextTag(0, 'constructed'));
  const requested = attributes.eachOfSet(readAttribute).filter((extensions) => extensions !== undefined);
  reader.finish();
  if (requested.length > 1) throw new X509Error('extension-twice', { offset: start });
  return { subject, spki, extensions: requested[0] ?? NO_EXTENSIONS };
}

// Attributes other than extensionRequest are the issuer's business elsewhere: only checked to be DER.
function readAttribute(reader: DerReader): Extensions | undefined {
  const inner = reader.enter();
  const wanted = inner.oid() === OID.extensionRequest;
  const values = inner.enter(TAG.set);
  const found = values.eachOfSet((value) => (wanted ? readExtensions(value) : void value.any()));
  inner.finish();
  if (wanted && found.length !== 1) throw new X509Error('extension-twice', { offset: values.offset });
  return found[0] ?? undefined;
}
