import { describe, expect, test } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { hssSpki, sha256 } from '../../src/crypto/index.ts';
import {
  der,
  fingerprint,
  fingerprintText,
  isPublishedExampleKey,
  isPublishedExampleSecret,
  judgeSigner,
  OID,
  PUBLISHED_EXAMPLE_KEYS,
  SIGNER_REFUSALS,
  type SignerDemands,
} from '../../src/x509/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import {
  basicConstraints,
  DIGITAL_SIGNATURE,
  extension,
  KEY_CERT_SIGN,
  keyUsage,
  rawParsed,
} from './rewrite.ts';
import { CLASS_SCOPE, OTHER_SCOPE, testChain, testKey } from './support.ts';

const demands: SignerDemands = { scopes: [CLASS_SCOPE], minimumGeneration: 1, denied: [] };

describe('the deployment profile: what a unit asks of a signer', () => {
  test('scope, generation and deny list', async () => {
    const { signer } = await testChain('p256', { generation: 5, scopes: [OTHER_SCOPE, CLASS_SCOPE] });
    const judge = (changes: Partial<SignerDemands>) => {
      const verdict = judgeSigner(signer, { ...demands, ...changes });
      if (verdict.ok) return 'ok';
      expect(SIGNER_REFUSALS[verdict.code]).toBeDefined();
      return verdict.code;
    };
    expect(judge({})).toBe('ok');
    expect(judge({ minimumGeneration: 5 })).toBe('ok');
    expect(judge({ minimumGeneration: 6 })).toBe('signer-generation');
    expect(judge({ minimumGeneration: Number.NaN })).toBe('signer-generation');
    expect(judge({ scopes: ['urn:uuid:00000000-0000-0000-0000-000000000000'] })).toBe('signer-scope');
    expect(judge({ scopes: [] })).toBe('signer-scope');
    expect(
      judge({ scopes: ['urn:uuid:00000000-0000-0000-0000-000000000000', CLASS_SCOPE.toUpperCase()] }),
    ).toBe('ok');
    expect(judge({ denied: [fingerprint(signer.spki)] })).toBe('signer-denied');
    expect(judge({ denied: ['00', fingerprint(signer.spki).toUpperCase()] })).toBe('signer-denied');
    expect(judge({ denied: ['00'.repeat(32)] })).toBe('ok');
  });

  test('an authority is no signer, nor is its own certificate', async () => {
    const { intermediate, root } = await testChain();
    for (const certificate of [intermediate, root]) {
      expect(judgeSigner(certificate, demands)).toMatchObject({ ok: false, code: 'signer-purpose' });
    }
  });

  const codeSigning = extension(OID.extKeyUsage, true, der.sequence(der.oid(OID.codeSigning)));
  const scope = extension(
    OID.subjectAltName,
    false,
    der.sequence(der.primitive(6, new TextEncoder().encode(CLASS_SCOPE))),
  );
  const generation = extension(OID.signerGeneration, false, der.integer(1));
  const usage = keyUsage(DIGITAL_SIGNATURE);
  const anyUse = extension(OID.extKeyUsage, true, der.sequence(der.oid(OID.anyExtendedKeyUsage)));

  test.each([
    ['complete', [usage, codeSigning, scope, generation], 'ok'],
    ['no keyUsage', [codeSigning, scope, generation], 'signer-purpose'],
    [
      'keyUsage for certificates',
      [keyUsage(DIGITAL_SIGNATURE, KEY_CERT_SIGN), codeSigning, scope, generation],
      'signer-purpose',
    ],
    ['no extended key usage', [usage, scope, generation], 'signer-purpose'],
    ['any extended key usage', [usage, anyUse, scope, generation], 'signer-purpose'],
    ['cA', [basicConstraints(true), usage, codeSigning, scope, generation], 'signer-purpose'],
    ['no scope', [usage, codeSigning, generation], 'signer-scope'],
    ['no generation counts as 0', [usage, codeSigning, scope], 'signer-generation'],
  ])('%s', async (_what, extensions, code) => {
    const key = testKey();
    const verdict = judgeSigner(await rawParsed({ spki: key.spki, extensions }, key), demands);
    expect(verdict.ok ? 'ok' : verdict.code).toBe(code);
  });

  test("a key outside the profile is no signer's", async () => {
    const key = testKey();
    const spki = der.sequence(
      der.sequence(der.oid('1.2.840.113549.1.1.1'), der.null()),
      der.bitString(Uint8Array.of(1)),
    );
    const certificate = await rawParsed({ spki, extensions: [usage, codeSigning, scope, generation] }, key);
    expect(judgeSigner(certificate, demands)).toMatchObject({ ok: false, code: 'signer-key' });
  });
});

/** The HSS key of RFC 9858 A.1, by its published identifier I. */
const RFC_9858_A1 = /^00000001.{16}202122232425262728292a2b2c2d2e2f/;

describe('keys by their names', () => {
  const { spki } = testKey();

  test('a fingerprint is the SHA-256 of the SubjectPublicKeyInfo, shown in groups of four', () => {
    expect(fingerprint(spki)).toBe(toHex(sha256(spki)));
    expect(fingerprintText(spki)).toMatch(/^(?:[0-9a-f]{4} ){15}[0-9a-f]{4}$/);
    expect(fingerprintText(spki).replaceAll(' ', '')).toBe(fingerprint(spki));
  });

  test.skipIf(!vectorsPresent)('the keys of the published SUIT examples are known by fingerprint', () => {
    const published = ['suit-manifest-examples', 'suit-encryption-examples'].flatMap(
      (name) => vectors(name).keys,
    );
    const found = published
      .filter((key: { xHex?: string; yHex?: string }) => key.xHex && key.yHex)
      .map((key: { xHex: string; yHex: string }) =>
        fromHex(`3059301306072a8648ce3d020106082a8648ce3d03010703420004${key.xHex}${key.yHex}`),
      );
    expect(found.length).toBeGreaterThan(0);
    expect(found.every(isPublishedExampleKey)).toBe(true);
    expect(isPublishedExampleKey(spki)).toBe(false);
  });

  test('each row of the published keys is one key of one document', () => {
    const names = new Set(PUBLISHED_EXAMPLE_KEYS.map((row) => row.fingerprint));
    expect(names.size).toBe(PUBLISHED_EXAMPLE_KEYS.length);
    for (const { fingerprint: name, source } of PUBLISHED_EXAMPLE_KEYS) {
      expect(name).toMatch(/^[0-9a-f]{64}$/);
      expect(source).toMatch(/draft-|RFC /);
    }
  });

  test.skipIf(!vectorsPresent)('HSS/LMS keys with published seeds are known by fingerprint', () => {
    const { cases } = vectors('hss-lms') as { cases: { publicKeyHex: string }[] };
    const published = cases.map(({ publicKeyHex }) => publicKeyHex).filter((hex) => RFC_9858_A1.test(hex));
    const top =
      'd08fabd4a2091ff0a8cb4ed834e7453432a58885cd9ba0431235466bff9651c6c92124404d45fa53cf161c28f1ad5a8e';
    for (const hex of [...published, `000000020000000600000003${top}`, `000000010000000600000003${top}`]) {
      expect(isPublishedExampleKey(hssSpki(fromHex(hex))!)).toBe(true);
    }
  });

  test('draft-ietf-suit-firmware-encryption 6.1.2, 9: secrets that are runs of ASCII a', () => {
    for (const length of [1, 16, 32])
      expect(isPublishedExampleSecret(new Uint8Array(length).fill(0x61))).toBe(true);
    expect(isPublishedExampleSecret(new TextEncoder().encode('aaaaaaaaaaaaaaab'))).toBe(false);
    expect(isPublishedExampleSecret(new TextEncoder().encode('baaaaaaaaaaaaaaa'))).toBe(false);
    expect(isPublishedExampleSecret(new Uint8Array())).toBe(false);
  });
});
