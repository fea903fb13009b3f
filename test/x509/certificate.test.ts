import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  type Certificate,
  der,
  OID,
  parseCertificate,
  parseName,
  validatePath,
} from '../../src/x509/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import {
  basicConstraints,
  extension,
  keyUsage,
  nameOf,
  type RawCertificate,
  rawCertificate,
  rawParsed,
  timeElement,
  utcTime,
} from './rewrite.ts';
import { CLASS_SCOPE, codeOf, FROM, NOW, named, testChain, testKey, UNTIL } from './support.ts';

const key = testKey();
const base: RawCertificate = { spki: key.spki };
const made = (changes: Partial<RawCertificate>) => rawCertificate({ ...base, ...changes }, key);
const parsed = (changes: Partial<RawCertificate>): Promise<Certificate> =>
  rawParsed({ ...base, ...changes }, key);
const codeFor = async (changes: Partial<RawCertificate>) => {
  const bytes = await made(changes);
  return codeOf(() => parseCertificate(bytes));
};

const UTC = 0x17;
const GENERALIZED = 0x18;
const until = (element: Uint8Array) => ({ validity: [utcTime(FROM), element] as const });

describe('RFC 5280 4.1.2: fields', () => {
  test('4.1.2.1: version 1 has no extensions; version numbers above 3 are unknown; the default is not written', async () => {
    expect((await parsed({ version: 1 })).version).toBe(1);
    expect((await parsed({ version: 2 })).version).toBe(2);
    expect(await codeFor({ version: 1, extensions: [keyUsage(0)] })).toBe('version');
    expect(await codeFor({ version: 2, extensions: [keyUsage(0)] })).toBe('version');
    expect(await codeFor({ version: 4 })).toBe('version');
    const explicitV1 = await rawCertificate({ ...base, serial: der.integer(7), version: 3 }, key);
    expect(codeOf(() => parseCertificate(patched(explicitV1, 'a003020102', 'a003020100')))).toBe('version');
  });

  test('4.1.2.2: serial numbers up to 20 bytes, negative and zero ones taken as they are', async () => {
    expect((await parsed({ serial: der.integer(0) })).serial).toBe('00');
    expect((await parsed({ serial: Uint8Array.of(2, 1, 0xff) })).serial).toBe('ff');
    expect((await parsed({ serial: der.integer(new Uint8Array(20).fill(0x7f)) })).serial).toBe(
      '7f'.repeat(20),
    );
    expect(await codeFor({ serial: der.integer(new Uint8Array(20).fill(0x80)) })).toBe('serial-too-long');
  });

  test('4.1.1.2: the algorithm inside and outside is the same', async () => {
    const ed25519 = der.sequence(der.oid(OID.ed25519));
    expect(await codeFor({ innerAlgorithm: ed25519 })).toBe('algorithm-mismatch');
    expect(await codeFor({ outerAlgorithm: ed25519 })).toBe('algorithm-mismatch');
  });

  test('RFC 5758 3.2, RFC 8410 3: no parameters, not even NULL', async () => {
    for (const oid of [OID.ecdsaWithSha256, OID.ed25519]) {
      const algorithm = der.sequence(der.oid(oid), der.null());
      expect(await codeFor({ innerAlgorithm: algorithm, outerAlgorithm: algorithm })).toBe(
        'algorithm-parameters',
      );
    }
  });

  test('4.1.2.4 and 4.1.2.6: an issuer has a name; a subject may lack one only with a critical subjectAltName', async () => {
    const empty = parseName(der.sequence());
    const altName = (critical: boolean) =>
      extension(OID.subjectAltName, critical, der.sequence(der.primitive(6, uri)));
    const uri = new TextEncoder().encode(CLASS_SCOPE);
    expect(await codeFor({ issuer: empty })).toBe('issuer-empty');
    expect(await codeFor({ subject: empty })).toBe('subject-empty');
    expect(await codeFor({ subject: empty, extensions: [altName(false)] })).toBe('subject-empty');
    expect(await codeFor({ subject: empty, extensions: [altName(true)] })).toBe('accepted');
    expect(await codeFor({ subject: empty, extensions: [altName(true), basicConstraints(true)] })).toBe(
      'subject-empty',
    );
  });

  test('4.1.2.5: both kinds of time, on both sides of 2050', async () => {
    const end = async (element: Uint8Array) => (await parsed(until(element))).notAfter;
    expect(await end(timeElement(UTC, '491231235959Z'))).toEqual(new Date('2049-12-31T23:59:59Z'));
    expect(await end(timeElement(UTC, '500101000000Z'))).toEqual(new Date('1950-01-01T00:00:00Z'));
    expect(await end(timeElement(GENERALIZED, '20500101000000Z'))).toEqual(new Date('2050-01-01T00:00:00Z'));
    expect(await end(timeElement(GENERALIZED, '20490101000000Z'))).toEqual(new Date('2049-01-01T00:00:00Z'));
    expect(await end(timeElement(GENERALIZED, '99991231235959Z'))).toBeNull();
    expect(await end(timeElement(UTC, '240229000000Z'))).toEqual(new Date('2024-02-29T00:00:00Z'));
  });

  const times: [string, number, string][] = [
    ['no seconds', UTC, '2601010000Z'],
    ['no Z', UTC, '260101000000'],
    ['an offset', UTC, '260101000000+0000'],
    ['a fraction', GENERALIZED, '20260101000000.5Z'],
    ['30 February', UTC, '260230000000Z'],
    ['29 February of a common year', UTC, '250229000000Z'],
    ['hour 24', UTC, '260101240000Z'],
    ['second 60', UTC, '260101000060Z'],
    ['month 13', UTC, '261301000000Z'],
    ['a letter', UTC, '26010100000oZ'],
    ['bytes after it', UTC, '260101000000Z0'],
    ['two-digit year in the long form', GENERALIZED, '260101000000Z'],
  ];
  test.each(times)('4.1.2.5.1, 4.1.2.5.2: a time with %s is refused', async (_what, tag, text) => {
    expect(await codeFor(until(timeElement(tag, text)))).toBe('time-malformed');
  });

  test('4.1.2.7: keys of the profile are told apart; the others are read and not known', async () => {
    expect((await parsed({})).keyType).toBe('p256');
    expect((await parsed({ spki: testKey('ed25519').spki })).keyType).toBe('ed25519');
    const compressed = compress(key.spki);
    expect((await parsed({ spki: compressed })).keyType).toBeUndefined();
    const offCurve = key.spki.slice();
    offCurve[90]! ^= 1;
    expect((await parsed({ spki: offCurve })).keyType).toBeUndefined();
    expect(await codeFor({ spki: der.sequence(der.sequence(der.oid('2.25.1')), der.octetString()) })).toBe(
      'unexpected-tag',
    );
  });

  test('4.1.2.8: unique identifiers are read past', async () => {
    const withId = { ...base, spki: concatElements(base.spki, der.primitive(2, Uint8Array.of(0, 1))) };
    expect(await codeFor(withId)).toBe('accepted');
    expect(await codeFor({ ...withId, version: 1 })).toBe('version');
  });
});

describe('RFC 5280 4.2: extensions', () => {
  const one = (...extensions: Uint8Array[]) => codeFor({ extensions });
  const value = (oid: string, content: Uint8Array) => one(extension(oid, false, content));
  const names = (...members: Uint8Array[]) => der.sequence(...members);
  const dns = (host: string) => der.primitive(2, new TextEncoder().encode(host));

  test('at least one, none twice, critical FALSE not written out', async () => {
    expect(await one()).toBe('names-count');
    expect(await one(keyUsage(0), keyUsage(1))).toBe('extension-twice');
    const written = der.sequence(
      der.oid(OID.keyUsage),
      der.boolean(false),
      der.octetString(der.namedBits([0])),
    );
    expect(await one(written)).toBe('default-encoded');
  });

  test('unknown ones are kept, and named where critical', async () => {
    const found = await parsed({
      extensions: [extension('2.25.1', true, der.null()), extension('2.25.2', false, der.null())],
    });
    expect(found.unknownCritical).toEqual(['2.25.1']);
    expect(found.extensions.map(({ oid, critical }) => [oid, critical])).toEqual([
      ['2.25.1', true],
      ['2.25.2', false],
    ]);
  });

  test('4.2.1.3: keyUsage allows something', async () => {
    expect(await value(OID.keyUsage, der.namedBits([]))).toBe('key-usage-empty');
    expect(await value(OID.keyUsage, der.bitString(Uint8Array.of(0x00), 4))).toBe('key-usage-empty');
    expect(await value(OID.keyUsage, der.bitString(Uint8Array.of(0x08), 4))).toBe('bit-string-malformed');
    expect((await parsed({ extensions: [keyUsage(0, 5, 6, 8)] })).keyUsage).toEqual([
      'digitalSignature',
      'keyCertSign',
      'cRLSign',
      'decipherOnly',
    ]);
  });

  test('4.2.1.9: cA FALSE is left out; pathLength counts from 0', async () => {
    expect(await value(OID.basicConstraints, der.sequence(der.boolean(false)))).toBe('default-encoded');
    expect(
      await value(OID.basicConstraints, der.sequence(der.boolean(true), Uint8Array.of(2, 1, 0xff))),
    ).toBe('integer-too-large');
    expect((await parsed({ extensions: [basicConstraints(true, 3)] })).basicConstraints).toEqual({
      cA: true,
      pathLength: 3,
    });
  });

  test('4.2.1.6: every form of name is read; an unknown or empty one is refused', async () => {
    const all = names(
      der.constructed(0, der.oid('2.25.1'), der.constructed(0, der.utf8String('x'))),
      der.primitive(1, new TextEncoder().encode('a@hollinridge.example')),
      dns('hollinridge.example'),
      der.constructed(4, named('x').der),
      der.primitive(6, new TextEncoder().encode(CLASS_SCOPE)),
      der.primitive(7, Uint8Array.of(192, 0, 2, 1)),
      der.primitive(8, der.oid('2.25.1').subarray(2)),
    );
    const { subjectAltNames, subjectAltUris } = await parsed({
      extensions: [extension(OID.subjectAltName, false, all)],
    });
    expect(subjectAltNames?.map(({ form }) => form)).toEqual([
      'otherName',
      'rfc822Name',
      'dNSName',
      'directoryName',
      'uniformResourceIdentifier',
      'iPAddress',
      'registeredID',
    ]);
    expect(subjectAltUris).toEqual([CLASS_SCOPE]);
    expect(await value(OID.subjectAltName, names())).toBe('names-count');
    expect(await value(OID.subjectAltName, names(der.primitive(9, Uint8Array.of())))).toBe(
      'general-name-malformed',
    );
    expect(await value(OID.subjectAltName, names(der.constructed(2, der.null())))).toBe(
      'general-name-malformed',
    );
    expect(await value(OID.subjectAltName, names(der.primitive(2, Uint8Array.of(0x80))))).toBe(
      'string-malformed',
    );
    expect(await value(OID.subjectAltName, names(dns('a\u001b[2J')))).toBe('general-name-malformed');
    expect(await value(OID.subjectAltName, names(...Array(257).fill(dns('a'))))).toBe('names-count');
  });

  test('4.2.1.10: minimum and maximum of a subtree are not used', async () => {
    const subtree = (...more: Uint8Array[]) =>
      der.sequence(der.constructed(0, der.sequence(dns('a.example'), ...more)));
    expect(await value(OID.nameConstraints, subtree())).toBe('accepted');
    expect(await value(OID.nameConstraints, subtree(der.primitive(0, Uint8Array.of(1))))).toBe('left-over');
    expect(await value(OID.nameConstraints, der.sequence())).toBe('names-count');
  });

  test('our own: the generation is a whole number from 0', async () => {
    expect(
      (await parsed({ extensions: [extension(OID.signerGeneration, false, der.integer(0))] })).generation,
    ).toBe(0);
    expect(await value(OID.signerGeneration, Uint8Array.of(2, 1, 0xff))).toBe('integer-too-large');
    expect(await value(OID.signerGeneration, der.utf8String('1'))).toBe('unexpected-tag');
    expect(await value(OID.signerGeneration, concatElements(der.integer(1), der.null()))).toBe('left-over');
  });

  test('our own: the role is a UTF8String in the one form in which it is issued', async () => {
    const role = (content: Uint8Array) => extension(OID.signerRole, false, content);
    expect((await parsed({ extensions: [role(der.utf8String('approver'))] })).role).toBe('approver');
    for (const other of ['', 'Approver', 'approver-', '1st', 'a b', 'a'.repeat(33), 'ä']) {
      expect(await value(OID.signerRole, der.utf8String(other))).toBe('rights-role');
    }
    expect(await value(OID.signerRole, der.printableString('approver'))).toBe('unexpected-tag');
  });
});

describe.skipIf(!vectorsPresent)('cose-wg/Examples: the certificates of RFC 9360', () => {
  const file: Record<string, string> = vectorsPresent ? (vectors('cose-examples').certificates ?? {}) : {};
  const all = Object.values(file).map((base64) =>
    parseCertificate(new Uint8Array(Buffer.from(base64, 'base64'))),
  );
  const authorities = all.filter(({ basicConstraints }) => basicConstraints?.cA);
  const issued = all.filter((each) => !authorities.includes(each));

  test('they are read (keyUsage has trailing zero bits)', () => {
    for (const each of authorities) {
      expect(each).toMatchObject({ keyType: 'p256', keyUsage: ['keyCertSign', 'cRLSign'] });
    }
    for (const each of issued) expect(each.keyUsage).toEqual(['digitalSignature']);
  });

  test.each(issued)('$subject.text is valid under the authority that issued it', (certificate) => {
    const anchors = authorities.map(({ subject, spki }) => ({ name: subject.der, spki }));
    expect(validatePath({ chain: [certificate], anchors, at: certificate.notBefore })).toMatchObject({
      ok: true,
    });
  });
});

describe('RFC 4514: names as text', () => {
  const cn = (element: Uint8Array) => nameOf('2.5.4.3', element).text;

  test('the last part first; special characters escaped', () => {
    expect(named('line-1').text).toBe('CN=line-1,O=Hollin Ridge');
    expect(cn(der.utf8String('a,b+c"d\\e<f>g;h'))).toBe('CN=a\\,b\\+c\\"d\\\\e\\<f\\>g\\;h');
    expect(cn(der.utf8String('# lead'))).toBe('CN=\\# lead');
    expect(cn(der.utf8String(' both '))).toBe('CN=\\ both\\ ');
    expect(cn(der.utf8String('Lučić'))).toBe('CN=Lučić'); // example of RFC 4514 section 4
  });

  test('a name cannot steer a terminal', () => {
    expect(cn(der.utf8String('\u001b[2J\u202e'))).toBe('CN=\\1b[2J\\e2\\80\\ae');
  });

  test('every string type of RFC 5280 4.1.2.4 is read', () => {
    expect(cn(der.printableString('plain'))).toBe('CN=plain');
    expect(cn(der.element(0x14, Uint8Array.of(0xe9)))).toBe('CN=é');
    expect(cn(der.element(0x1e, Uint8Array.of(0x01, 0x0d)))).toBe('CN=č');
    expect(cn(der.element(0x1c, Uint8Array.of(0, 1, 0xf3, 0x31)))).toBe('CN=🌱');
    expect(cn(der.integer(5))).toBe('CN=#020105');
    expect(nameOf('2.25.1', der.utf8String('x')).text).toBe('2.25.1=#0c0178');
  });

  test('texts that their type cannot hold are refused', () => {
    const code = (element: Uint8Array) => codeOf(() => cn(element));
    expect(code(der.element(0x13, Uint8Array.of(0x40)))).toBe('string-malformed');
    expect(code(der.element(0x1e, Uint8Array.of(0x00)))).toBe('string-malformed');
    expect(code(der.element(0x1e, Uint8Array.of(0xd8, 0x00)))).toBe('string-malformed');
    expect(code(der.element(0x1c, Uint8Array.of(0, 0x11, 0, 0)))).toBe('string-malformed');
    expect(codeOf(() => parseName(der.sequence(der.setOf())))).toBe('name-malformed');
  });
});

describe('properties', () => {
  const noneThrows = (bytes: Uint8Array) => void codeOf(() => parseCertificate(bytes));

  test('random bytes, and random changes to a certificate, throw nothing else', async () => {
    const { signer } = await testChain();
    fc.assert(fc.property(fc.uint8Array({ maxLength: 200 }), noneThrows), { numRuns: 500 });
    const change = fc.tuple(fc.nat(signer.der.length - 1), fc.nat(255));
    const changes = fc.array(change, { minLength: 1, maxLength: 6 });
    fc.assert(
      fc.property(changes, (list) => {
        const bytes = signer.der.slice();
        for (const [at, byte] of list) bytes[at] = byte;
        noneThrows(bytes);
      }),
      { numRuns: 3000 },
    );
  });

  test('cut at every offset, and with a byte more, it is refused', async () => {
    const { signer } = await testChain();
    for (let end = 0; end < signer.der.length; end++) {
      expect(codeOf(() => parseCertificate(signer.der.subarray(0, end)))).toBe('truncated');
    }
    expect(codeOf(() => parseCertificate(concatElements(signer.der, Uint8Array.of(0))))).toBe('left-over');
  });

  test.each(['p256', 'ed25519'] as const)(
    '%s: every single bit counts: with any one flipped, no path holds',
    async (type) => {
      const { signer, intermediate, anchor } = await testChain(type);
      for (let bit = 0; bit < signer.der.length * 8; bit++) {
        const bytes = signer.der.slice();
        bytes[bit >> 3]! ^= 1 << (bit & 7);
        let chain: Certificate[] | undefined;
        if (codeOf(() => (chain = [parseCertificate(bytes), intermediate])) !== 'accepted' || !chain)
          continue;
        expect(validatePath({ chain, anchors: [anchor], at: NOW }).ok, `bit ${bit}`).toBe(false);
      }
    },
  );

  test('what is parsed does not change when the caller reuses the bytes', async () => {
    const { signer } = await testChain();
    const bytes = signer.der.slice();
    const before = parseCertificate(bytes);
    bytes.fill(0);
    expect(before.subject.text).toBe('CN=signer,O=Hollin Ridge');
    expect(parseCertificate(signer.der)).toBe(before);
    expect(before.notAfter).toEqual(UNTIL);
  });
});

function patched(bytes: Uint8Array, from: string, to: string): Uint8Array {
  return new Uint8Array(Buffer.from(Buffer.from(bytes).toString('hex').replace(from, to), 'hex'));
}

function concatElements(...elements: Uint8Array[]): Uint8Array {
  return new Uint8Array(Buffer.concat(elements));
}

/** The same P-256 key with its point in compressed form (SEC 1 section 2.3.3). */
function compress(spki: Uint8Array): Uint8Array {
  const point = spki.subarray(26);
  const algorithm = der.sequence(der.oid('1.2.840.10045.2.1'), der.oid('1.2.840.10045.3.1.7'));
  return der.sequence(
    algorithm,
    der.bitString(concatElements(Uint8Array.of(2 + (point[64]! & 1)), point.subarray(1, 33))),
  );
}

test('RFC 5280 Appendix B: every arc of our identifiers is below 2^28, as readers must support', () => {
  const arcs = Object.values(OID).flatMap((oid) => oid.split('.').map(Number));
  expect(arcs.filter((arc) => !(arc < 2 ** 28))).toEqual([]);
});
