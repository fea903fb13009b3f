/**
 * Offline custody: a root key on a machine without network. Files are carried by hand: a request (PKCS#10,
 * RFC 2986) out, a reply (certificates, leaf first) back, and once the root's own certificate. Both sides
 * show the fingerprint of the key that travels, and people compare them: whoever carries the files cannot
 * swap a key unseen.
 */
import { equal } from '../bytes/index.ts';
import {
  type Anchor,
  type Certificate,
  type CertificationRequest,
  DerError,
  fingerprint,
  fingerprintText,
  fromPem,
  isPublishedExampleKey,
  parseCertificate,
  parseRequest,
  toPem,
  validatePath,
  X509Error,
} from '../x509/index.ts';
import { KeyError } from './error.ts';
import { readTextFile, writeNewFile } from './files.ts';
import { fingerprintMatches } from './fingerprint.ts';

/** What came back from the offline machine: the certificate asked for, and those between it and the root. */
export interface Reply {
  readonly certificate: Certificate;
  /** Leaf first; without the root. */
  readonly chain: readonly Certificate[];
}

/** What a reply is held against. */
export interface ReplyExpectation {
  /** DER SubjectPublicKeyInfo that the request carried. */
  readonly requested: Uint8Array;
  /** The roots that are known here. */
  readonly anchors: readonly Anchor[];
  /** Time to judge the dates by; absent: they are not judged. */
  readonly at?: Date | undefined;
}

const READABLE_BY_ALL = 0o644;

/** Writes a request file. Throws `KeyError` key-file-exists, key-file-unwritable. */
export function writeRequestFile(path: string, request: Uint8Array): void {
  writeNewFile(path, toPem('CERTIFICATE REQUEST', request), READABLE_BY_ALL);
}

/**
 * Reads a request file on the offline machine. Its signature proves that the asker holds the key;
 * `typedFingerprint`, read aloud from the other side, that the asker is the right one. Throws `KeyError`
 * exchange-file-damaged, exchange-fingerprint, key-published, key-file-....
 */
export function readRequestFile(path: string, typedFingerprint: string): CertificationRequest {
  const request = readOne(path, 'CERTIFICATE REQUEST', parseRequest);
  requireOwnKey(request.spki);
  requireFingerprint(typedFingerprint, request.spki);
  return request;
}

/**
 * Writes a reply file: the certificate asked for, then those between it and the root. Throws as
 * `writeRequestFile`.
 */
export function writeReplyFile(path: string, chain: readonly Uint8Array[]): void {
  writeNewFile(path, chain.map((der) => toPem('CERTIFICATE', der)).join(''), READABLE_BY_ALL);
}

/**
 * Reads a reply file: the certificate is for the key that was requested, and leads to a root known here.
 * Throws `KeyError` exchange-file-damaged, exchange-key-differs, exchange-chain, key-file-....
 */
export function readReplyFile(path: string, expected: ReplyExpectation): Reply {
  const chain = readBlocks(path, 'CERTIFICATE', parseCertificate);
  const certificate = chain[0]!;
  if (!equal(certificate.spki, expected.requested)) {
    throw new KeyError(
      'exchange-key-differs',
      `The certificate in ${path} is for the key ${fingerprintText(certificate.spki)}, but requested was ` +
        `${fingerprintText(expected.requested)}.`,
      'It answers another request, or the request was swapped on its way: compare the fingerprints on both machines.',
    );
  }
  const verdict = validatePath({ chain, anchors: expected.anchors, at: expected.at });
  if (!verdict.ok) {
    throw new KeyError(
      'exchange-chain',
      `The certificate in ${path} does not lead to a root that is known here: ${verdict.code} (${verdict.detail}).`,
      'Take in the root of that machine first, or have the right root certify the request.',
    );
  }
  return { certificate, chain: verdict.path };
}

/**
 * Reads the certificate of an offline root, to be taken in as an anchor: self-signed, an authority that may
 * sign certificates, and the one whose fingerprint was read aloud. Throws `KeyError` exchange-file-damaged,
 * exchange-chain, exchange-fingerprint, key-published, key-file-....
 */
export function readRootFile(path: string, typedFingerprint: string): Certificate {
  const root = readOne(path, 'CERTIFICATE', parseCertificate);
  const anchors = [{ name: root.subject.der, spki: root.spki }];
  const selfSigned = validatePath({ chain: [root], anchors }).ok;
  if (!selfSigned || !root.basicConstraints?.cA || !root.keyUsage?.includes('keyCertSign')) {
    throw new KeyError(
      'exchange-chain',
      `The certificate in ${path} is not that of a root: it must be signed by its own key and allowed to sign others.`,
      'Bring the certificate that the offline machine wrote when its root was made.',
    );
  }
  requireOwnKey(root.spki);
  requireFingerprint(typedFingerprint, root.spki);
  return root;
}

/** Throws `KeyError` exchange-fingerprint where a fingerprint that was read aloud is not that of this key. */
export function requireFingerprint(typed: string, spki: Uint8Array): void {
  if (fingerprintMatches(typed, fingerprint(spki))) return;
  throw new KeyError(
    'exchange-fingerprint',
    `The key that came is ${fingerprintText(spki)}; that is not the fingerprint given.`,
    'Read all 64 digits aloud from the machine that made the key. If they differ, the file was swapped: do not use it.',
  );
}

function requireOwnKey(spki: Uint8Array): void {
  if (!isPublishedExampleKey(spki)) return;
  throw new KeyError(
    'key-published',
    `The key ${fingerprintText(spki)} is printed in a standard as an example; anybody can sign with it.`,
    'Make a key of your own.',
  );
}

function readOne<T>(path: string, label: string, parse: (der: Uint8Array) => T): T {
  const found = readBlocks(path, label, parse);
  if (found.length === 1) return found[0]!;
  throw damaged(path, `one ${label} is expected, ${found.length} are there`);
}

function readBlocks<T>(path: string, label: string, parse: (der: Uint8Array) => T): T[] {
  const text = readTextFile(path);
  try {
    return fromPem(text).map((block) => {
      if (block.label !== label)
        throw damaged(path, `line ${block.line} begins ${block.label}, not ${label}`);
      return parse(block.der);
    });
  } catch (error) {
    if (error instanceof DerError || error instanceof X509Error) throw damaged(path, error.message);
    throw error;
  }
}

function damaged(path: string, why: string): KeyError {
  return new KeyError(
    'exchange-file-damaged',
    `The file ${path} is not what is exchanged here (${why}).`,
    'Carry it over again from the machine that wrote it.',
  );
}
