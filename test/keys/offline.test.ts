import { readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import type { Signer } from '../../src/cose/index.ts';
import {
  generatePrivateKey,
  readReplyFile,
  readRequestFile,
  readRootFile,
  softwareSigner,
  writeReplyFile,
  writeRequestFile,
} from '../../src/keys/index.ts';
import {
  fingerprint,
  fingerprintText,
  issueCertificate,
  type Name,
  toPem,
  writeName,
  writeRequest,
} from '../../src/x509/index.ts';
import { codeOf, failureOf, scratch } from './support.ts';

const folder = scratch();
const at = (name: string) => join(folder, name);
const FROM = new Date('2026-01-01T00:00:00Z');
const UNTIL = new Date('2028-01-01T00:00:00Z');
const NOW = new Date('2026-11-25T00:00:00Z');

const root = softwareSigner(generatePrivateKey('p256'));
const otherRoot = softwareSigner(generatePrivateKey('p256'));
const line = softwareSigner(generatePrivateKey('ed25519'));
const stranger = softwareSigner(generatePrivateKey('p256'));
const rootName = named('Hollin Ridge root');
const lineName = named('line-1');
const anchors = [{ name: rootName.der, spki: root.publicKey }];
const scopes = ['urn:uuid:149a892a-ea1e-5f65-bce3-27594a29ad0f'];

beforeAll(async () => {
  writeRequestFile(at('line-1.csr'), await request(line));
  writeReplyFile(at('line-1.crt'), [await certify(line.publicKey)]);
  writeReplyFile(at('root.crt'), [await rootCertificate(root)]);
});

describe('the request, carried to the machine without network (RFC 2986)', () => {
  it('is read there once its fingerprint, read aloud, agrees', () => {
    const read = readRequestFile(at('line-1.csr'), fingerprintText(line.publicKey));
    expect(read.spki).toEqual(line.publicKey);
    expect(read.subjectAltUris).toEqual(scopes);
  });

  it.each([
    ['typed without blanks', (print: string) => print.replaceAll(' ', '')],
    ['in capitals, with colons', (print: string) => print.toUpperCase().replaceAll(' ', ':')],
  ])('the fingerprint may be %s', (_, write) => {
    const typed = write(fingerprintText(line.publicKey));
    expect(readRequestFile(at('line-1.csr'), typed).keyType).toBe('ed25519');
  });

  it('a swapped request shows by its fingerprint; a part of it is not enough', async () => {
    writeRequestFile(at('swapped.csr'), await request(stranger));
    const print = fingerprint(line.publicKey);
    const error = await failureOf(() => readRequestFile(at('swapped.csr'), print));
    expect(error.code).toBe('exchange-fingerprint');
    expect(error.message).toContain(fingerprintText(stranger.publicKey));
    expect(await codeOf(() => readRequestFile(at('line-1.csr'), print.slice(0, 16)))).toBe(
      'exchange-fingerprint',
    );
    expect(await codeOf(() => readRequestFile(at('line-1.csr'), ''))).toBe('exchange-fingerprint');
  });

  it('a request changed on its way is damaged: its signature no longer holds', async () => {
    const der = (await request(line)).slice();
    der[Buffer.from(der).indexOf(scopes[0]!) + 'urn:uuid:'.length]! ^= 1;
    writeFileSync(at('changed.csr'), toPem('CERTIFICATE REQUEST', der));
    expect(await codeOf(() => readRequestFile(at('changed.csr'), fingerprint(line.publicKey)))).toBe(
      'exchange-file-damaged',
    );
  });

  it('a file that holds something else', async () => {
    expect(await codeOf(() => readRequestFile(at('root.crt'), ''))).toBe('exchange-file-damaged');
    writeFileSync(at('empty.csr'), '');
    expect(await codeOf(() => readRequestFile(at('empty.csr'), ''))).toBe('exchange-file-damaged');
    expect(await codeOf(() => readRequestFile(at('absent.csr'), ''))).toBe('key-file-missing');
  });

  it('files are written once, for everybody to read', async () => {
    expect(statSync(at('line-1.csr')).mode & 0o777 & ~0o644).toBe(0);
    const before = readFileSync(at('line-1.csr'));
    const again = await request(stranger);
    expect(await codeOf(() => writeRequestFile(at('line-1.csr'), again))).toBe('key-file-exists');
    expect(readFileSync(at('line-1.csr'))).toEqual(before);
  });
});

describe('the reply, carried back (RFC 5280 6.1)', () => {
  it('is for the requested key and leads to the known root', () => {
    const reply = readReplyFile(at('line-1.crt'), { requested: line.publicKey, anchors, at: NOW });
    expect(reply.certificate.spki).toEqual(line.publicKey);
    expect(reply.chain).toHaveLength(1);
  });

  it('may bring the root along, which is then left out', async () => {
    writeReplyFile(at('with-root.crt'), [await certify(line.publicKey), await rootCertificate(root)]);
    const reply = readReplyFile(at('with-root.crt'), { requested: line.publicKey, anchors, at: NOW });
    expect(reply.chain).toHaveLength(1);
  });

  it('for another key: shows both fingerprints', async () => {
    const error = await failureOf(() =>
      readReplyFile(at('line-1.crt'), { requested: stranger.publicKey, anchors }),
    );
    expect(error.code).toBe('exchange-key-differs');
    expect(error.message).toContain(fingerprintText(line.publicKey));
    expect(error.message).toContain(fingerprintText(stranger.publicKey));
  });

  it('under a root that is not known here, though it has the same name', async () => {
    const pretended = [{ name: rootName.der, spki: otherRoot.publicKey }];
    const expected = { requested: line.publicKey, anchors: pretended, at: NOW };
    expect(await codeOf(() => readReplyFile(at('line-1.crt'), expected))).toBe('exchange-chain');
    expect(await codeOf(() => readReplyFile(at('line-1.crt'), { ...expected, anchors: [] }))).toBe(
      'exchange-chain',
    );
  });

  it('lapsed', async () => {
    const late = { requested: line.publicKey, anchors, at: new Date('2030-01-01T00:00:00Z') };
    expect(await codeOf(() => readReplyFile(at('line-1.crt'), late))).toBe('exchange-chain');
  });
});

describe("the root's own certificate, taken in once", () => {
  it('is self-signed, an authority, and the one read aloud', () => {
    expect(readRootFile(at('root.crt'), fingerprintText(root.publicKey)).spki).toEqual(root.publicKey);
  });

  it('another fingerprint, or a certificate that is not a root', async () => {
    expect(await codeOf(() => readRootFile(at('root.crt'), fingerprint(otherRoot.publicKey)))).toBe(
      'exchange-fingerprint',
    );
    expect(await codeOf(() => readRootFile(at('line-1.crt'), fingerprint(line.publicKey)))).toBe(
      'exchange-chain',
    );
  });

  it('two certificates where one is expected', async () => {
    writeReplyFile(at('two.crt'), [await rootCertificate(root), await rootCertificate(otherRoot)]);
    expect(await codeOf(() => readRootFile(at('two.crt'), fingerprint(root.publicKey)))).toBe(
      'exchange-file-damaged',
    );
  });
});

function named(commonName: string): Name {
  return writeName([
    ['O', 'Hollin Ridge'],
    ['CN', commonName],
  ]);
}

function request(signer: Signer): Promise<Uint8Array> {
  const { publicKey } = signer;
  const rights = { scopes, generation: 1, trial: false };
  return writeRequest({ profile: 'signer', subject: lineName, publicKey, ...rights }, signer.sign);
}

function certify(publicKey: Uint8Array): Promise<Uint8Array> {
  const issuer = { name: rootName, spki: root.publicKey };
  const rights = { scopes, generation: 1, trial: false, notBefore: FROM, notAfter: UNTIL };
  return issueCertificate({ profile: 'signer', subject: lineName, issuer, publicKey, ...rights }, root.sign);
}

function rootCertificate(signer: Signer): Promise<Uint8Array> {
  const { publicKey } = signer;
  const validity = { notBefore: FROM, notAfter: null, trial: false };
  return issueCertificate({ profile: 'root', subject: rootName, publicKey, ...validity }, signer.sign);
}
