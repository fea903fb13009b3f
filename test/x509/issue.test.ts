import 'reflect-metadata';
import { X509Certificate as NodeCertificate } from 'node:crypto';
import {
  KeyUsageFlags,
  KeyUsagesExtension,
  Pkcs10CertificateRequest,
  X509Certificate,
  X509CertificateGenerator,
  X509Crl,
} from '@peculiar/x509';
import { describe, expect, test } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { ed25519Spki } from '../../src/crypto/index.ts';
import {
  type CertificateDescription,
  issueCertificate,
  issuerOf,
  isTrial,
  newSerial,
  OID,
  parseCertificate,
  parseCrl,
  parseRequest,
  type RequestDescription,
  TRIAL_MARK,
  writeCrl,
  writeName,
  writeRequest,
  X509Error,
} from '../../src/x509/index.ts';
import {
  CLASS_SCOPE,
  codeOf,
  describeCertificate,
  FROM,
  issue,
  NOW,
  named,
  OTHER_SCOPE,
  testChain,
  testKey,
  UNTIL,
} from './support.ts';

const key = testKey();

async function rejection(promise: Promise<unknown>): Promise<string> {
  return promise.then(
    () => 'accepted',
    (error) => (error instanceof X509Error ? error.code : `${error}`),
  );
}

describe('the deployment profile', () => {
  test('root: self-signed, pathLen 1, keyCertSign and cRLSign, no end', async () => {
    const { root } = await testChain();
    expect(root).toMatchObject({
      version: 3,
      notAfter: null,
      basicConstraints: { cA: true, pathLength: 1 },
      keyUsage: ['keyCertSign', 'cRLSign'],
    });
    expect(root.issuer.der).toEqual(root.subject.der);
    expect(root.aki).toEqual(root.ski);
    expect(root.generation).toBeUndefined();
  });

  test('intermediate: pathLen 0, and what only a signer has is refused to it', async () => {
    const { intermediate, root, keys } = await testChain();
    expect(intermediate.basicConstraints).toEqual({ cA: true, pathLength: 0 });
    expect(intermediate.aki).toEqual(root.ski);
    const asked = { profile: 'intermediate', publicKey: key.spki, issuer: issuerOf(root) } as const;
    for (const rights of [{ scopes: [CLASS_SCOPE] }, { generation: 1 }, { role: 'author' }]) {
      expect(
        await rejection(issueCertificate(describeCertificate({ ...asked, ...rights }), keys.root.sign)),
      ).toBe('rights-of-authority');
    }
  });

  test('signer: no authority, digitalSignature, code signing, scope and generation; critical where it restricts', async () => {
    const { signer } = await testChain('p256', { scopes: [CLASS_SCOPE, OTHER_SCOPE], generation: 0 });
    expect(signer).toMatchObject({
      basicConstraints: { cA: false },
      keyUsage: ['digitalSignature'],
      extKeyUsage: [OID.codeSigning],
      subjectAltUris: [CLASS_SCOPE, OTHER_SCOPE],
      generation: 0,
      unknownCritical: [],
    });
    const critical = signer.extensions.filter((extension) => extension.critical).map(({ oid }) => oid);
    expect(critical).toEqual([OID.basicConstraints, OID.keyUsage, OID.extKeyUsage]);
  });

  test('a signer without scope or generation, or with a malformed one, is not issued', async () => {
    const signer = (rights: Partial<CertificateDescription>) =>
      rejection(
        issueCertificate(
          describeCertificate({
            profile: 'signer',
            publicKey: key.spki,
            issuer: { name: named('root'), spki: key.spki },
            ...rights,
          }),
          key.sign,
        ),
      );
    expect(await signer({})).toBe('accepted');
    for (const scopes of [
      [],
      [CLASS_SCOPE.toUpperCase()],
      ['urn:uuid:1'],
      [CLASS_SCOPE, 'https://hollinridge.example'],
    ]) {
      expect(await signer({ scopes })).toBe('rights-scope');
    }
    for (const generation of [undefined, -1, 1.5, 2 ** 53])
      expect(await signer({ generation })).toBe('rights-generation');
    for (const role of ['', 'Author', 'a_b', '-a']) expect(await signer({ role })).toBe('rights-role');
    expect(await signer({ role: 'author' })).toBe('accepted');
  });

  test('RFC 5280 4.1.2.5: UTCTime through 2049, GeneralizedTime from 2050', async () => {
    const ending = async (notAfter: Date | null) =>
      toHex((await issue({ profile: 'root', publicKey: key.spki, notAfter }, key)).tbs);
    const hex = (text: string) => Buffer.from(text).toString('hex');
    expect(await ending(new Date('2049-12-31T23:59:59.999Z'))).toContain(`170d${hex('491231235959Z')}`);
    expect(await ending(new Date('2050-01-01T00:00:00Z'))).toContain(`180f${hex('20500101000000Z')}`);
    expect(await ending(null)).toContain(`180f${hex('99991231235959Z')}`);
  });

  test('RFC 5280 4.1.2.2: random serial numbers are positive and of 16 bytes', () => {
    const serials = Array.from({ length: 200 }, newSerial);
    expect(serials.every((serial) => serial.length === 16 && serial[0]! >= 0x40 && serial[0]! < 0x80)).toBe(
      true,
    );
    expect(new Set(serials.map(toHex)).size).toBe(200);
  });

  test('a given serial number: positive, at most 20 bytes as an INTEGER', async () => {
    const serial = async (bytes: Uint8Array) =>
      (await issue({ profile: 'root', publicKey: key.spki, serial: bytes }, key)).serial;
    expect(await serial(Uint8Array.of(0, 0, 5))).toBe('05');
    expect(await serial(Uint8Array.of(0x80))).toBe('0080');
    expect(await serial(new Uint8Array(20).fill(0x7f))).toBe('7f'.repeat(20));
    for (const bytes of [
      new Uint8Array(),
      new Uint8Array(3),
      new Uint8Array(20).fill(0x80),
      new Uint8Array(21).fill(1),
    ]) {
      await expect(serial(bytes)).rejects.toThrow(TypeError);
    }
  });

  test('dates in the wrong order, an empty subject, and a key of no profile are refused', async () => {
    const root = (changes: Partial<CertificateDescription>) =>
      rejection(
        issueCertificate(describeCertificate({ profile: 'root', publicKey: key.spki, ...changes }), key.sign),
      );
    expect(await root({ notBefore: UNTIL, notAfter: FROM })).toBe('validity');
    expect(await root({ notBefore: new Date(Number.NaN) })).toBe('validity');
    expect(await root({ notBefore: new Date(Number.NaN), notAfter: null })).toBe('validity');
    expect(await root({ notAfter: new Date(Number.NaN) })).toBe('validity');
    expect(await root({ subject: writeName([]) })).toBe('subject-empty');
    expect(await root({ publicKey: Uint8Array.of(0x30, 0) })).toBe('key-unusable');
    expect(await root({ publicKey: ed25519Spki(new Uint8Array(32)) })).toBe('key-unusable');
  });

  test('a root with an issuer, and anything else without one, is wrong use', async () => {
    const issuer = { name: named('x'), spki: key.spki };
    await expect(issue({ profile: 'root', publicKey: key.spki, issuer }, key)).rejects.toThrow(TypeError);
    await expect(issue({ profile: 'signer', publicKey: key.spki }, key)).rejects.toThrow(TypeError);
  });

  test('a signature by another key never leaves', async () => {
    const stranger = testKey();
    const description = describeCertificate({ profile: 'root', publicKey: key.spki });
    expect(await rejection(issueCertificate(description, stranger.sign))).toBe('signature-not-own');
    expect(await rejection(issueCertificate(description, async () => new Uint8Array(64)))).toBe(
      'signature-not-own',
    );
    expect(await rejection(issueCertificate(description, async () => new Uint8Array(70)))).toBe(
      'signature-not-own',
    );
  });
});

describe('the trial mark', () => {
  test('stands in the subject, once, and counts in the issuer too', async () => {
    const { root, intermediate, signer } = await testChain('p256', { trial: true });
    expect(root.subject.text).toBe(`CN=root,OU=${TRIAL_MARK},O=Hollin Ridge`);
    expect([root, intermediate, signer].every(isTrial)).toBe(true);
    const below = await issue(
      { profile: 'signer', publicKey: key.spki, issuer: { name: root.subject, spki: key.spki } },
      key,
    );
    expect(below.subject.text).toBe('CN=signer,O=Hollin Ridge');
    expect(isTrial(below)).toBe(true);
    const again = await issue(
      { profile: 'root', subject: root.subject, publicKey: key.spki, trial: true },
      key,
    );
    expect(again.subject.der).toEqual(root.subject.der);
  });

  test('is absent without being asked for', async () => {
    expect(isTrial((await testChain()).signer)).toBe(false);
  });
});

describe('RFC 5280 4.1.2.4, appendix A.1: names written', () => {
  test('bounds and characters of each attribute', () => {
    const code = (keyword: string, text: string) => codeOf(() => writeName([[keyword, text]]));
    expect(code('CN', 'a'.repeat(64))).toBe('accepted');
    expect(code('CN', 'a'.repeat(65))).toBe('name-unwritable');
    expect(code('CN', '🌱'.repeat(64))).toBe('accepted');
    expect(code('CN', '')).toBe('name-unwritable');
    expect(code('C', 'GB')).toBe('accepted');
    expect(code('C', 'GBR')).toBe('name-unwritable');
    expect(code('serialNumber', 'a@b')).toBe('name-unwritable');
    expect(code('emailAddress', 'ü@hollinridge.example')).toBe('name-unwritable');
    expect(code('XX', 'a')).toBe('name-unwritable');
  });
});

describe('RFC 2986: requests', () => {
  const request = (changes: Partial<RequestDescription> = {}): RequestDescription => ({
    profile: 'signer',
    subject: named('line-1'),
    publicKey: key.spki,
    scopes: [CLASS_SCOPE],
    generation: 3,
    trial: false,
    ...changes,
  });

  test.each(['p256', 'ed25519'] as const)(
    '%s: what is asked for comes back, the signature verified',
    async (type) => {
      const asker = testKey(type);
      const parsed = parseRequest(await writeRequest(request({ publicKey: asker.spki }), asker.sign));
      expect(parsed).toMatchObject({
        profile: 'signer',
        keyType: type,
        subjectAltUris: [CLASS_SCOPE],
        generation: 3,
        trial: false,
        unknownCritical: [],
      });
      expect(parsed.subject.text).toBe('CN=line-1,O=Hollin Ridge');
      expect(parsed.spki).toEqual(asker.spki);
    },
  );

  test('an intermediate is told from a signer; the trial mark is carried', async () => {
    const bytes = await writeRequest(
      { profile: 'intermediate', subject: named('plant'), publicKey: key.spki, trial: true },
      key.sign,
    );
    expect(parseRequest(bytes)).toMatchObject({ profile: 'intermediate', trial: true, subjectAltUris: [] });
  });

  test('from request to certificate', async () => {
    const root = await issue({ profile: 'root', publicKey: key.spki }, key);
    const asker = testKey();
    const asked = parseRequest(await writeRequest(request({ publicKey: asker.spki }), asker.sign));
    const made = await issue(
      {
        profile: 'signer',
        subject: asked.subject,
        publicKey: asked.spki,
        issuer: issuerOf(root),
        scopes: asked.subjectAltUris,
        generation: asked.generation,
      },
      key,
    );
    expect(made).toMatchObject({ spki: asker.spki, generation: 3, subjectAltUris: [CLASS_SCOPE] });
  });

  test('a request altered, or signed by another key, shows no possession', async () => {
    const bytes = await writeRequest(request(), key.sign);
    const at = Buffer.from(bytes).indexOf('line-1');
    const altered = bytes.slice();
    altered[at]! ^= 1;
    expect(codeOf(() => parseRequest(altered))).toBe('request-signature');
    expect(await rejection(writeRequest(request(), testKey().sign))).toBe('signature-not-own');
  });

  test('cut at every offset, and with every byte changed, it is refused', async () => {
    const bytes = await writeRequest(request(), key.sign);
    for (let at = 0; at < bytes.length; at++) {
      expect(codeOf(() => parseRequest(bytes.subarray(0, at)))).toBe('truncated');
      const changed = bytes.slice();
      changed[at]! ^= 0x55;
      expect(codeOf(() => parseRequest(changed))).not.toBe('accepted');
    }
  });
});

describe('RFC 5280 5: revocation lists', () => {
  const issuer = { name: named('root'), spki: key.spki };
  const revoked = [
    { serial: '0102', date: NOW, reason: 'keyCompromise' },
    { serial: '0080ff', date: FROM },
  ] as const;
  const list = (changes: Partial<Parameters<typeof writeCrl>[0]> = {}) =>
    writeCrl({ issuer, number: 7, thisUpdate: FROM, nextUpdate: UNTIL, revoked, ...changes }, key.sign);

  test('what is written comes back', async () => {
    const crl = parseCrl(await list());
    expect(crl).toMatchObject({
      thisUpdate: FROM,
      nextUpdate: UNTIL,
      unknownCritical: [],
      signatureAlgorithm: OID.ecdsaWithSha256,
    });
    expect([...crl.revoked.values()]).toEqual(revoked);
    expect(parseCrl(await list({ revoked: [] })).revoked.size).toBe(0);
  });

  test('dates in the wrong order are refused', async () => {
    expect(await rejection(list({ thisUpdate: UNTIL, nextUpdate: FROM }))).toBe('validity');
  });

  test('cut at every offset it is refused, changed anywhere it throws nothing else', async () => {
    const bytes = await list();
    for (let at = 0; at < bytes.length; at++) {
      expect(codeOf(() => parseCrl(bytes.subarray(0, at)))).toBe('truncated');
      for (const mask of [0x01, 0x80, 0xff]) {
        const changed = bytes.slice();
        changed[at]! ^= mask;
        codeOf(() => parseCrl(changed));
      }
    }
  });
});

describe('@peculiar/x509 and node:crypto read the same', () => {
  test.each(['p256', 'ed25519'] as const)('%s certificates, requests and lists', async (type) => {
    const { keys, root, intermediate, signer } = await testChain(type);
    const read = new X509Certificate(signer.der);
    expect(read.serialNumber).toBe(signer.serial);
    expect(read.notAfter).toEqual(signer.notAfter);
    expect(new Uint8Array(read.publicKey.rawData)).toEqual(signer.spki);
    expect(read.extensions.map(({ type: oid, critical }) => [oid, critical])).toEqual(
      signer.extensions.map(({ oid, critical }) => [oid, critical]),
    );
    expect(
      await new X509Certificate(intermediate.der).verify({
        publicKey: new X509Certificate(root.der).publicKey,
        signatureOnly: true,
      }),
    ).toBe(true);

    const [node, above] = [new NodeCertificate(signer.der), new NodeCertificate(intermediate.der)];
    expect(node.checkIssued(above)).toBe(true);
    expect(node.verify(above.publicKey)).toBe(true);
    expect(node.subjectAltName).toBe(`URI:${CLASS_SCOPE}`);

    const request = new Pkcs10CertificateRequest(
      await writeRequest(
        { profile: 'intermediate', subject: named('plant'), publicKey: keys.signer.spki, trial: false },
        keys.signer.sign,
      ),
    );
    expect(await request.verify()).toBe(true);

    const crl = new X509Crl(
      await writeCrl(
        {
          issuer: issuerOf(intermediate),
          number: 1,
          thisUpdate: FROM,
          nextUpdate: UNTIL,
          revoked: [{ serial: signer.serial, date: NOW, reason: 'superseded' }],
        },
        keys.intermediate.sign,
      ),
    );
    expect(crl.entries.map(({ serialNumber, reason }) => [serialNumber, reason])).toEqual([
      [signer.serial, 4],
    ]);
    expect(await crl.verify({ publicKey: new X509Certificate(intermediate.der) })).toBe(true);
  });

  test('a certificate that @peculiar/x509 makes is read here', async () => {
    const pair = await crypto.subtle.generateKey({ name: 'ECDSA', namedCurve: 'P-256' }, true, [
      'sign',
      'verify',
    ]);
    const made = await X509CertificateGenerator.createSelfSigned({
      serialNumber: '01',
      name: 'CN=made elsewhere, O=Hollin Ridge',
      notBefore: FROM,
      notAfter: UNTIL,
      signingAlgorithm: { name: 'ECDSA', hash: 'SHA-256' },
      keys: pair,
      extensions: [new KeyUsagesExtension(KeyUsageFlags.digitalSignature, true)],
    });
    const read = parseCertificate(new Uint8Array(made.rawData));
    expect(read).toMatchObject({
      serial: '01',
      notAfter: UNTIL,
      keyType: 'p256',
      keyUsage: ['digitalSignature'],
    });
  });
});
