/** OpenSSL's command line as an independent judge, in both directions. */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import {
  issuerOf,
  keyIdentifier,
  OID,
  onePem,
  parseCertificate,
  parseCrl,
  parseRequest,
  toPem,
  validatePath,
  writeCrl,
  writeRequest,
} from '../../src/x509/index.ts';
import {
  anchorOf,
  CLASS_SCOPE,
  FROM,
  issue,
  NOW,
  named,
  OTHER_SCOPE,
  type TestChain,
  testChain,
  testKey,
} from './support.ts';

const present = spawnSync('openssl', ['version']).status === 0;
const folder = present ? mkdtempSync(join(tmpdir(), 'x509-test-')) : '';
const at = String(NOW.getTime() / 1000);

afterAll(() => present && rmSync(folder, { recursive: true }));

function openssl(...args: string[]): string {
  return execFileSync('openssl', args, { cwd: folder, encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] });
}

function refused(...args: string[]): string {
  const { status, stdout, stderr } = spawnSync('openssl', args, { cwd: folder, encoding: 'utf8' });
  expect(status).not.toBe(0);
  return stdout + stderr;
}

const put = (name: string, text: string) => writeFileSync(join(folder, name), text);
const der = (name: string) => new Uint8Array(readFileSync(join(folder, name)));

describe.skipIf(!present).each(['p256', 'ed25519'] as const)(
  'OpenSSL judges what is written here: %s',
  (type) => {
    let chain: TestChain;

    beforeAll(async () => {
      chain = await testChain(type, { scopes: [CLASS_SCOPE, OTHER_SCOPE], generation: 300 });
      put('root.pem', toPem('CERTIFICATE', chain.root.der));
      put('intermediate.pem', toPem('CERTIFICATE', chain.intermediate.der));
      put('signer.pem', toPem('CERTIFICATE', chain.signer.der));
    });

    test('verify -x509_strict accepts root, intermediate and signer', () => {
      const strict = ['verify', '-x509_strict', '-check_ss_sig', '-attime', at, '-CAfile', 'root.pem'];
      expect(openssl(...strict, '-untrusted', 'intermediate.pem', 'signer.pem')).toBe('signer.pem: OK\n');
      expect(openssl(...strict, 'root.pem')).toBe('root.pem: OK\n');
    });

    test('pathLen: a signer under a third authority is refused, here as there', async () => {
      const { keys, intermediate, anchor } = chain;
      const [extraKey, signerKey] = [testKey(type), testKey(type)];
      const extra = await issue(
        {
          profile: 'intermediate',
          subject: named('extra'),
          publicKey: extraKey.spki,
          issuer: issuerOf(intermediate),
        },
        keys.intermediate,
      );
      const signer = await issue(
        { profile: 'signer', publicKey: signerKey.spki, issuer: issuerOf(extra) },
        extraKey,
      );
      put('extra.pem', toPem('CERTIFICATE', extra.der) + toPem('CERTIFICATE', intermediate.der));
      put('below.pem', toPem('CERTIFICATE', signer.der));
      const judged = refused(
        'verify',
        '-attime',
        at,
        '-CAfile',
        'root.pem',
        '-untrusted',
        'extra.pem',
        'below.pem',
      );
      expect(judged).toContain('path length constraint exceeded');
      expect(validatePath({ chain: [signer, extra, intermediate], anchors: [anchor] })).toMatchObject({
        ok: false,
        code: 'path-too-long',
        certificate: 1,
      });
    });

    test('x509 -text shows the profile', () => {
      const text = openssl('x509', '-in', 'signer.pem', '-noout', '-text');
      expect(text).toMatch(/Version: 3/);
      expect(text).toMatch(/Key Usage: critical\s+Digital Signature\n/);
      expect(text).toMatch(/Extended Key Usage: critical\s+Code Signing\n/);
      expect(text).toMatch(/Basic Constraints: critical\s+CA:FALSE\n/);
      expect(text).toContain(`URI:${CLASS_SCOPE}, URI:${OTHER_SCOPE}`);
      expect(text).toContain(OID.signerGeneration);
      expect(openssl('x509', '-in', 'root.pem', '-noout', '-enddate')).toBe(
        'notAfter=Dec 31 23:59:59 9999 GMT\n',
      );
      expect(openssl('x509', '-in', 'intermediate.pem', '-noout', '-text')).toMatch(/CA:TRUE, pathlen:0/);
    });

    test('serial, subject and key identifiers are read alike', () => {
      const { signer, intermediate } = chain;
      expect(openssl('x509', '-in', 'signer.pem', '-noout', '-serial').trim()).toBe(
        `serial=${signer.serial.toUpperCase()}`,
      );
      expect(openssl('x509', '-in', 'signer.pem', '-noout', '-subject', '-nameopt', 'RFC2253').trim()).toBe(
        `subject=${signer.subject.text}`,
      );
      expect(toHex(signer.aki!)).toBe(toHex(intermediate.ski!));
      const shown = openssl('x509', '-in', 'intermediate.pem', '-noout', '-ext', 'subjectKeyIdentifier');
      expect(shown.replaceAll(/[\s:]/g, '').toLowerCase()).toContain(toHex(intermediate.ski!));
    });

    test('RFC 2986: req -verify accepts a request, and sees what it asks for', async () => {
      const key = testKey(type);
      const request = await writeRequest(
        {
          profile: 'signer',
          subject: named('line-1'),
          publicKey: key.spki,
          scopes: [CLASS_SCOPE],
          generation: 2,
          trial: true,
        },
        key.sign,
      );
      put('request.pem', toPem('CERTIFICATE REQUEST', request));
      const text = openssl('req', '-in', 'request.pem', '-noout', '-verify', '-text');
      expect(text).toContain(`URI:${CLASS_SCOPE}`);
      expect(text).toContain('OU = TRIAL - not for production');
    });

    test('RFC 5280 5: crl accepts a list, and verify -crl_check_all refuses what is on it', async () => {
      const { keys, root, intermediate, signer } = chain;
      const nextUpdate = new Date('2027-01-01T00:00:00Z');
      const listOf = (
        number: number,
        revoked: Parameters<typeof writeCrl>[0]['revoked'],
        from: 'root' | 'intermediate',
      ) =>
        writeCrl(
          {
            issuer: issuerOf(from === 'root' ? root : intermediate),
            number,
            thisUpdate: FROM,
            nextUpdate,
            revoked,
          },
          keys[from].sign,
        );
      const good = [await listOf(1, [], 'root'), await listOf(1, [], 'intermediate')];
      const bad = await listOf(
        200,
        [{ serial: signer.serial, date: NOW, reason: 'keyCompromise' }],
        'intermediate',
      );
      const pem = (list: Uint8Array[]) => list.map((crl) => toPem('X509 CRL', crl)).join('');
      put('good.pem', pem(good));
      put('bad.pem', pem([good[0]!, bad]));
      const check = [
        'verify',
        '-x509_strict',
        '-crl_check_all',
        '-attime',
        at,
        '-CAfile',
        'root.pem',
        '-untrusted',
        'intermediate.pem',
      ];
      expect(openssl(...check, '-CRLfile', 'good.pem', 'signer.pem')).toBe('signer.pem: OK\n');
      expect(refused(...check, '-CRLfile', 'bad.pem', 'signer.pem')).toContain('certificate revoked');
      put('one.pem', pem([bad]));
      const text = openssl('crl', '-in', 'one.pem', '-noout', '-text');
      expect(text).toMatch(/CRL Number: \s*200\n/);
      expect(text).toMatch(/CRL Reason Code: \s*Key Compromise\n/);
    });
  },
);

describe.skipIf(!present)('what OpenSSL writes is read and judged here', () => {
  beforeAll(() => {
    put(
      'ca.cnf',
      `[ca]
default_ca = demo
[demo]
database = index.txt
crlnumber = crlnumber
default_md = sha256
default_crl_days = 30
crl_extensions = crl
[crl]
authorityKeyIdentifier = keyid
[root]
basicConstraints = critical, CA:TRUE, pathlen:1
keyUsage = critical, keyCertSign, cRLSign
subjectKeyIdentifier = hash
[signer]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = critical, codeSigning
subjectAltName = URI:${CLASS_SCOPE}, email:release@hollinridge.example, IP:192.0.2.1, DNS:hollinridge.example
authorityKeyIdentifier = keyid, issuer
certificatePolicies = 2.25.1, @notice
nameConstraints = permitted;DNS:hollinridge.example
${OID.signerGeneration} = ASN1:INTEGER:7
[notice]
policyIdentifier = 2.25.2
CPS.1 = "https://hollinridge.example/practice"
userNotice.1 = @text
[text]
explicitText = UTF8:for tests
`,
    );
    openssl('ecparam', '-name', 'prime256v1', '-genkey', '-noout', '-out', 'r.key');
    openssl(
      'req',
      '-x509',
      '-new',
      '-key',
      'r.key',
      '-subj',
      '/C=GB/O=Hollin Ridge/CN=root, \\"quoted\\" ü',
      '-utf8',
      '-days',
      '3650',
      '-sha256',
      '-config',
      'ca.cnf',
      '-extensions',
      'root',
      '-outform',
      'DER',
      '-out',
      'r.der',
    );
    openssl('x509', '-in', 'r.der', '-inform', 'DER', '-out', 'r.pem');
  });

  test.each([
    ['P-256', ['ecparam', '-name', 'prime256v1', '-genkey', '-noout', '-out', 's.key']],
    ['Ed25519', ['genpkey', '-algorithm', 'ed25519', '-out', 's.key']],
  ])('%s: a request and a certificate made from it, valid under the root', (_name, makeKey) => {
    openssl(...makeKey);
    openssl(
      'req',
      '-new',
      '-key',
      's.key',
      '-subj',
      '/CN=line-2',
      '-sha256',
      '-outform',
      'DER',
      '-out',
      's.csr',
    );
    const request = parseRequest(der('s.csr'));
    expect(request.subject.text).toBe('CN=line-2');
    expect(request.subjectAltUris).toEqual([]);
    openssl(
      'x509',
      '-req',
      '-in',
      's.csr',
      '-inform',
      'DER',
      '-CA',
      'r.pem',
      '-CAkey',
      'r.key',
      '-CAcreateserial',
      '-days',
      '30',
      '-sha256',
      '-extfile',
      'ca.cnf',
      '-extensions',
      'signer',
      '-outform',
      'DER',
      '-out',
      's.der',
    );
    const [root, signer] = [parseCertificate(der('r.der')), parseCertificate(der('s.der'))];
    expect(signer).toMatchObject({
      version: 3,
      generation: 7,
      subjectAltUris: [CLASS_SCOPE],
      extKeyUsage: [OID.codeSigning],
      trial: false,
    });
    expect(signer.certificatePolicies).toEqual(['2.25.1', '2.25.2']);
    expect(signer.subjectAltNames?.map(({ form }) => form)).toEqual([
      'uniformResourceIdentifier',
      'rfc822Name',
      'iPAddress',
      'dNSName',
    ]);
    expect(root.subject.text).toBe('CN=root\\, \\"quoted\\" ü,O=Hollin Ridge,C=GB');
    expect(signer.spki).toEqual(request.spki);
    expect(root.ski).toEqual(keyIdentifier(root.spki)); // RFC 5280 4.2.1.2 (1), "hash" in OpenSSL's configuration
    const verdict = validatePath({
      chain: [signer, root],
      anchors: [anchorOf(root)],
      at: new Date(),
      purpose: OID.codeSigning,
    });
    expect(verdict).toMatchObject({ ok: true, path: [{ serial: signer.serial }] });
  });

  test('ca -gencrl: a list with a revoked certificate', () => {
    put('index.txt', 'R\t360101000000Z\t260601000000Z,keyCompromise\t0102\tunknown\t/CN=line-3\n');
    put('index.txt.attr', '');
    put('crlnumber', '0A\n');
    openssl('ca', '-config', 'ca.cnf', '-gencrl', '-keyfile', 'r.key', '-cert', 'r.pem', '-out', 'made.crl');
    const crl = parseCrl(onePem(readFileSync(join(folder, 'made.crl'), 'utf8'), 'X509 CRL'));
    expect(crl.revoked.get('0102')).toMatchObject({
      reason: 'keyCompromise',
      date: new Date('2026-06-01T00:00:00Z'),
    });
    expect(crl.nextUpdate).toBeInstanceOf(Date);
  });

  test('other keys are read too, and no unit accepts them', () => {
    openssl(
      'req',
      '-x509',
      '-newkey',
      'rsa:2048',
      '-nodes',
      '-keyout',
      'rsa.key',
      '-subj',
      '/CN=rsa',
      '-config',
      'ca.cnf',
      '-extensions',
      'root',
      '-outform',
      'DER',
      '-out',
      'rsa.der',
    );
    const certificate = parseCertificate(der('rsa.der'));
    expect(certificate.keyType).toBeUndefined();
    expect(validatePath({ chain: [certificate], anchors: [anchorOf(certificate)] })).toMatchObject({
      ok: false,
      code: 'algorithm-not-allowed',
    });
  });
});
