import { createPublicKey, verify } from 'node:crypto';
import { beforeAll, describe, expect, test } from 'vitest';
import { concat } from '../../src/bytes/index.ts';
import { ed25519Spki } from '../../src/crypto/index.ts';
import {
  type Certificate,
  type Crl,
  der,
  ecdsaFromRaw,
  issuerOf,
  OID,
  PATH_REFUSALS,
  type PathOptions,
  type PathRefusal,
  parseCertificate,
  parseCrl,
  type Revocation,
  validatePath,
  writeCrl,
} from '../../src/x509/index.ts';
import {
  altered,
  basicConstraints,
  CRL_SIGN,
  DIGITAL_SIGNATURE,
  extension,
  KEY_CERT_SIGN,
  keyUsage,
  nameOf,
  type RawCertificate,
  rawParsed,
  utcTime,
} from './rewrite.ts';
import { anchorOf, FROM, issue, NOW, named, type TestChain, testChain, testKey, UNTIL } from './support.ts';

let own: TestChain;
let chain: Certificate[];
let options: PathOptions;

beforeAll(async () => {
  own = await testChain();
  chain = [own.signer, own.intermediate];
  options = { chain, anchors: [own.anchor], at: NOW, purpose: OID.codeSigning };
});

function verdictOf(changes: Partial<PathOptions>): [PathRefusal | 'ok', number?] {
  const verdict = validatePath({ ...options, ...changes });
  if (verdict.ok) return ['ok'];
  expect(PATH_REFUSALS[verdict.code]).toBeDefined();
  expect(verdict.detail).not.toBe('');
  return [verdict.code, verdict.certificate];
}

describe('RFC 5280 6.1: accepted', () => {
  test('signer and intermediate under the anchor, with the root sent along or not', () => {
    expect(validatePath(options)).toEqual({ ok: true, path: chain, anchor: own.anchor });
    const withRoot = validatePath({ ...options, chain: [...chain, own.root] });
    expect(withRoot).toEqual({ ok: true, path: chain, anchor: own.anchor });
  });

  test('Ed25519; and one link under an anchor that is an intermediate', async () => {
    const other = await testChain('ed25519');
    const anchors = [own.anchor, other.anchor];
    expect(verdictOf({ chain: [other.signer, other.intermediate], anchors })).toEqual(['ok']);
    expect(verdictOf({ chain: [other.signer], anchors: [anchorOf(other.intermediate)] })).toEqual(['ok']);
  });

  test('two anchors of one name, as after a root rollover: the signature decides', () => {
    const spare = { name: own.anchor.name, spki: testKey().spki };
    expect(validatePath({ ...options, anchors: [spare, own.anchor] })).toMatchObject({
      ok: true,
      anchor: own.anchor,
    });
  });

  test('6.1.1 (d): an anchor is name and key; the dates of its certificate do not count', async () => {
    const key = testKey();
    const old = new Date('2001-01-01T00:00:00Z');
    const root = await issue({ profile: 'root', publicKey: key.spki, notBefore: old, notAfter: old }, key);
    const signer = await issue({ profile: 'signer', publicKey: testKey().spki, issuer: issuerOf(root) }, key);
    expect(verdictOf({ chain: [signer, root], anchors: [anchorOf(root)] })).toEqual(['ok']);
  });

  test('7.1: names that differ in case, spaces and string type are the same name', async () => {
    const key = testKey();
    const [name, anchorName] = [
      nameOf('2.5.4.10', der.utf8String('Hollin Ridge')),
      nameOf('2.5.4.10', der.printableString('HOLLIN   ridge ')),
    ];
    const signer = await issue(
      { profile: 'signer', publicKey: testKey().spki, issuer: { name, spki: key.spki } },
      key,
    );
    expect(verdictOf({ chain: [signer], anchors: [{ name: anchorName.der, spki: key.spki }] })).toEqual([
      'ok',
    ]);
  });
});

describe('RFC 5280 6.1: refused', () => {
  test('nothing, and more than is looked at', () => {
    expect(verdictOf({ chain: [] })).toEqual(['chain-empty', 0]);
    expect(verdictOf({ chain: Array(9).fill(own.signer) })).toEqual(['chain-too-long', 0]);
    expect(verdictOf({ chain: [...chain, own.root], maxLength: 2 })).toEqual(['chain-too-long', 0]);
  });

  test('no anchor, an anchor of another name or key, and a missing intermediate', () => {
    const { name, spki } = own.anchor;
    expect(verdictOf({ anchors: [] })).toEqual(['anchor-unknown', 1]);
    expect(verdictOf({ anchors: [{ name: named('elsewhere').der, spki }] })).toEqual(['anchor-unknown', 1]);
    expect(verdictOf({ anchors: [{ name, spki: testKey().spki }] })).toEqual(['signature-wrong', 1]);
    expect(verdictOf({ anchors: [{ name, spki: Uint8Array.of(1) }] })).toEqual(['signature-wrong', 1]);
    expect(verdictOf({ anchors: [{ name: Uint8Array.of(1, 2, 3), spki }] })).toEqual(['anchor-unknown', 1]);
    expect(verdictOf({ chain: [own.signer] })).toEqual(['anchor-unknown', 0]);
  });

  test('RFC 8032 5.1.7: nothing hangs on an anchor of small order, under which everybody can sign', async () => {
    const { signer, intermediate, root } = await testChain('ed25519');
    const neutral = Uint8Array.of(1, ...new Uint8Array(31));
    // R the neutral point, S = 0: under the neutral point as a key it fits whatever is signed.
    const forged = concat(intermediate.der.subarray(0, -64), neutral, new Uint8Array(32));
    const anchors = [{ name: root.subject.der, spki: ed25519Spki(neutral) }];
    const handle = createPublicKey({ key: Buffer.from(anchors[0]!.spki), format: 'der', type: 'spki' });
    const { tbs, signature } = parseCertificate(forged);
    expect(verify(null, tbs, handle, signature)).toBe(true);
    const verdict = validatePath({ ...options, chain: [signer, parseCertificate(forged)], anchors });
    const detail = expect.stringContaining('everybody');
    expect(verdict).toMatchObject({ ok: false, code: 'signature-wrong', certificate: 1, detail });
  });

  test('RFC 9360 2: a self-signed certificate in the chain does not become an anchor', async () => {
    const key = testKey();
    for (const [subject, refusal] of [
      [named('stranger'), ['anchor-unknown', 1]],
      [own.root.subject, ['signature-wrong', 0]],
    ] as const) {
      const root = await issue({ profile: 'root', subject, publicKey: key.spki }, key);
      const signer = await issue(
        { profile: 'signer', publicKey: testKey().spki, issuer: issuerOf(root) },
        key,
      );
      expect(verdictOf({ chain: [signer, root] })).toEqual(refusal);
    }
  });

  test('6.1.3 (a)(1): an altered certificate, at each place of the path', () => {
    expect(verdictOf({ chain: [altered(own.signer), own.intermediate] })).toEqual(['signature-wrong', 0]);
    const renamed = verdictOf({ chain: [own.signer, altered(own.intermediate)] });
    expect(renamed).toEqual(['issuer-mismatch', 0]);
    expect(verdictOf({ chain: [altered(own.intermediate)], purpose: undefined })).toEqual([
      'signature-wrong',
      0,
    ]);
  });

  test('6.1.3 (a)(1): an algorithm that is not allowed', () => {
    expect(verdictOf({ algorithms: [] })).toEqual(['algorithm-not-allowed', 1]);
  });

  test('6.1.3 (a)(2): dates, only where there is a clock; both ends included', () => {
    expect(verdictOf({ at: new Date(FROM.getTime() - 1000) })).toEqual(['not-yet-valid', 1]);
    expect(verdictOf({ at: new Date(UNTIL.getTime() + 1000) })).toEqual(['expired', 1]);
    expect(verdictOf({ at: FROM })).toEqual(['ok']);
    expect(verdictOf({ at: UNTIL })).toEqual(['ok']);
    expect(verdictOf({ at: undefined })).toEqual(['ok']);
  });

  test('a clock that holds no time judges nothing as valid', () => {
    expect(verdictOf({ at: new Date(Number.NaN) })[0]).toBe('not-yet-valid');
  });

  test('6.1.3 (a)(4): out of order', () => {
    expect(verdictOf({ chain: [own.signer, own.root, own.intermediate] })).toEqual(['issuer-mismatch', 0]);
  });

  test('4.2.1.12: a purpose that is asked for and not given', async () => {
    expect(verdictOf({ chain: [own.intermediate] })).toEqual(['purpose-not-allowed', 0]);
    expect(verdictOf({ chain: [own.intermediate], purpose: undefined })).toEqual(['ok']);
    expect(verdictOf({ purpose: '1.3.6.1.5.5.7.3.4' })).toEqual(['purpose-not-allowed', 0]);
  });
});

describe('RFC 5280 6.1.4: what makes an authority, one change at a time', () => {
  const authority = [basicConstraints(true, 0), keyUsage(KEY_CERT_SIGN, CRL_SIGN)];
  const codeSigning = (...oids: string[]) =>
    extension(OID.extKeyUsage, true, der.sequence(...oids.map(der.oid)));
  const unknown = (critical: boolean) => extension('2.25.9', critical, der.null());
  const mail = '1.3.6.1.5.5.7.3.4';

  const cases: [
    string,
    { middle?: Uint8Array[]; leaf?: Uint8Array[]; version?: number },
    PathRefusal | 'ok',
    number?,
  ][] = [
    ['as it should be', {}, 'ok'],
    ['(k) no basicConstraints', { middle: [keyUsage(KEY_CERT_SIGN)] }, 'not-an-authority', 1],
    ['(k) cA false', { middle: [basicConstraints(false), keyUsage(KEY_CERT_SIGN)] }, 'not-an-authority', 1],
    ['(k) version 1', { middle: [], version: 1 }, 'not-an-authority', 1],
    [
      '(n) keyUsage without keyCertSign',
      { middle: [basicConstraints(true), keyUsage(DIGITAL_SIGNATURE, CRL_SIGN)] },
      'key-usage',
      1,
    ],
    ['(n) no keyUsage at all allows every use', { middle: [basicConstraints(true)] }, 'ok'],
    [
      '(o) unknown critical extension in the authority',
      { middle: [...authority, unknown(true)] },
      'critical-extension-unknown',
      1,
    ],
    ['(o) unknown extension that is not critical', { middle: [...authority, unknown(false)] }, 'ok'],
    [
      '6.1.5 (f) unknown critical extension in the signer',
      { leaf: [unknown(true)] },
      'critical-extension-unknown',
      0,
    ],
    ['signer without extended key usage', { leaf: [keyUsage(DIGITAL_SIGNATURE)] }, 'purpose-not-allowed', 0],
    ['signer for another purpose', { leaf: [codeSigning(mail)] }, 'purpose-not-allowed', 0],
    [
      'signer for any purpose only (4.2.1.12 lets a verifier insist)',
      { leaf: [codeSigning(OID.anyExtendedKeyUsage)] },
      'purpose-not-allowed',
      0,
    ],
    ['signer for this purpose among others', { leaf: [codeSigning(mail, OID.codeSigning)] }, 'ok'],
    [
      'authority limited to another purpose',
      { middle: [...authority, codeSigning(mail)] },
      'purpose-not-allowed',
      1,
    ],
    ['authority limited to this purpose', { middle: [...authority, codeSigning(OID.codeSigning)] }, 'ok'],
    ['authority for any purpose', { middle: [...authority, codeSigning(OID.anyExtendedKeyUsage)] }, 'ok'],
  ];
  test.each(cases)(
    '%s',
    async (_what, { middle = authority, leaf = [codeSigning(OID.codeSigning)], version = 3 }, code, at) => {
      const [middleKey, leafKey] = [testKey(), testKey()];
      const raw = (part: RawCertificate) => part;
      const above = await rawParsed(
        raw({
          version,
          issuer: own.root.subject,
          subject: named('middle'),
          spki: middleKey.spki,
          ...(middle.length ? { extensions: middle } : {}),
        }),
        own.keys.root,
      );
      const signer = await rawParsed(
        { issuer: named('middle'), spki: leafKey.spki, extensions: leaf },
        middleKey,
      );
      expect(verdictOf({ chain: [signer, above] })).toEqual(at === undefined ? [code] : [code, at]);
    },
  );

  test('(l), (m): path lengths of 0 and 1, with one authority more than they permit', async () => {
    const keys = [testKey(), testKey(), testKey()] as const;
    const make = async (lengths: (number | undefined)[]) => {
      const path: Certificate[] = [];
      let [issuer, key] = [own.root.subject, own.keys.root];
      for (const [i, length] of lengths.entries()) {
        const subject = named(`authority ${i}`);
        path.unshift(
          await rawParsed(
            { issuer, subject, spki: keys[i]!.spki, extensions: [basicConstraints(true, length)] },
            key,
          ),
        );
        [issuer, key] = [subject, keys[i]!];
      }
      const leaf = await rawParsed(
        { issuer, spki: testKey().spki, extensions: [codeSigning(OID.codeSigning)] },
        key,
      );
      return verdictOf({ chain: [leaf, ...path] });
    };
    expect(await make([0])).toEqual(['ok']);
    expect(await make([0, undefined])).toEqual(['path-too-long', 1]);
    expect(await make([1, undefined])).toEqual(['ok']);
    expect(await make([1, 5])).toEqual(['ok']);
    expect(await make([1, 5, undefined])).toEqual(['path-too-long', 1]);
    expect(await make([undefined, 0, undefined])).toEqual(['path-too-long', 1]);
    expect(await make([undefined, undefined, undefined])).toEqual(['ok']);
  });
});

describe('RFC 5280 6.3: revocation lists', () => {
  const nextUpdate = new Date('2027-01-01T00:00:00Z');

  async function list(
    from: 'root' | 'intermediate',
    revoked: Revocation[] = [],
    changes: Partial<Parameters<typeof writeCrl>[0]> = {},
    key = own.keys[from],
  ): Promise<Crl> {
    const description = {
      issuer: issuerOf(own[from]),
      number: 1,
      thisUpdate: FROM,
      nextUpdate,
      revoked,
      ...changes,
    };
    return parseCrl(
      await writeCrl({ ...description, issuer: { ...description.issuer, spki: key.spki } }, key.sign),
    );
  }
  const revokedSigner = () => ({ serial: own.signer.serial, date: NOW, reason: 'keyCompromise' }) as const;

  test('a list of each authority clears the path', async () => {
    expect(verdictOf({ crls: [await list('root'), await list('intermediate')] })).toEqual(['ok']);
  });

  test('revoked, at each place of the path; with and without a clock', async () => {
    const [root, intermediate] = [await list('root'), await list('intermediate', [revokedSigner()])];
    expect(verdictOf({ crls: [root, intermediate] })).toEqual(['revoked', 0]);
    expect(verdictOf({ crls: [root, intermediate], at: undefined })).toEqual(['revoked', 0]);
    const above = await list('root', [{ serial: own.intermediate.serial, date: NOW }]);
    expect(verdictOf({ crls: [above, await list('intermediate')] })).toEqual(['revoked', 1]);
  });

  test('missing, of another issuer, and none at all where lists are asked for', async () => {
    expect(verdictOf({ crls: [] })).toEqual(['crl-missing', 1]);
    expect(verdictOf({ crls: [await list('root')] })).toEqual(['crl-missing', 0]);
    expect(verdictOf({ crls: [await list('intermediate')] })).toEqual(['crl-missing', 1]);
  });

  test('stale or from the future, only where there is a clock', async () => {
    const root = await list('root');
    const old = await list('intermediate', [], { nextUpdate: new Date('2026-02-01T00:00:00Z') });
    const early = await list('intermediate', [], { thisUpdate: new Date('2026-12-01T00:00:00Z') });
    expect(verdictOf({ crls: [root, old] })).toEqual(['crl-stale', 0]);
    expect(verdictOf({ crls: [root, early] })).toEqual(['crl-stale', 0]);
    expect(verdictOf({ crls: [root, old], at: undefined })).toEqual(['ok']);
    expect(verdictOf({ crls: [root, old, await list('intermediate')] })).toEqual(['ok']);
  });

  test('a stale list that names the certificate still refuses it', async () => {
    const old = await list('intermediate', [revokedSigner()], {
      nextUpdate: new Date('2026-02-01T00:00:00Z'),
    });
    expect(verdictOf({ crls: [await list('root'), old, await list('intermediate')] })).toEqual([
      'revoked',
      0,
    ]);
  });

  test('a list by another key of the same name neither clears nor refuses', async () => {
    const forged = await list('intermediate', [], {}, testKey());
    const slander = await list('intermediate', [revokedSigner()], {}, testKey());
    expect(verdictOf({ crls: [await list('root'), forged] })).toEqual(['crl-signature-wrong', 0]);
    expect(verdictOf({ crls: [await list('root'), slander, await list('intermediate')] })).toEqual(['ok']);
  });

  test('5.2: a list with a critical extension that is not understood must not be used; 5.1.2.5: nor one without an end', async () => {
    const raw = async (nextTime: Uint8Array[], extensions: Uint8Array[]) => {
      const algorithm = der.sequence(der.oid(OID.ecdsaWithSha256));
      const tbs = der.sequence(
        der.integer(1),
        algorithm,
        own.intermediate.subject.der,
        utcTime(FROM),
        ...nextTime,
        ...(extensions.length > 0 ? [der.constructed(0, der.sequence(...extensions))] : []),
      );
      const signature = ecdsaFromRaw(await own.keys.intermediate.sign(tbs));
      return parseCrl(der.sequence(tbs, algorithm, der.bitString(signature)));
    };
    const root = await list('root');
    const scoped = await raw([utcTime(nextUpdate)], [extension('2.5.29.28', true, der.sequence())]);
    expect(verdictOf({ crls: [root, scoped] })).toEqual(['crl-not-understood', 0]);
    const complete = await raw([utcTime(nextUpdate)], []);
    expect(verdictOf({ crls: [root, complete] })).toEqual(['ok']);
    expect(verdictOf({ crls: [root, complete, scoped] })).toEqual(['crl-not-understood', 0]);
    expect(verdictOf({ crls: [root, await raw([], [])] })).toEqual(['crl-stale', 0]);
    expect(verdictOf({ crls: [root, await raw([], [])], at: undefined })).toEqual(['ok']);
  });

  test('6.3.3 (f): an authority without cRLSign', async () => {
    const [middleKey, leafKey] = [testKey(), testKey()];
    const extensions = [basicConstraints(true), keyUsage(KEY_CERT_SIGN)];
    const middle = await rawParsed(
      { issuer: own.root.subject, subject: named('middle'), spki: middleKey.spki, extensions },
      own.keys.root,
    );
    const leaf = await rawParsed({ issuer: named('middle'), spki: leafKey.spki }, middleKey);
    const issuer = issuerOf(middle);
    const crl = parseCrl(
      await writeCrl({ issuer, number: 1, thisUpdate: FROM, nextUpdate, revoked: [] }, middleKey.sign),
    );
    expect(verdictOf({ chain: [leaf, middle], purpose: undefined, crls: [await list('root'), crl] })).toEqual(
      ['crl-signer-not-allowed', 0],
    );
  });
});
