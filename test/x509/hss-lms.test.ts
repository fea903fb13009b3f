/** Certificates with HSS/LMS keys and signatures: RFC 9802, RFC 9708. Keys made for this test, parameters as small as they go. */
import { describe, expect, it } from 'vitest';
import { concat, toHex } from '../../src/bytes/index.ts';
import { HssTrees, hssSpki, parseHssShape } from '../../src/crypto/index.ts';
import { UNIT_ALGORITHMS } from '../../src/x509/algorithm.ts';
import {
  issueCertificate,
  issuerOf,
  judgeSigner,
  OID,
  parseCertificate,
  parseRequest,
  validatePath,
  writeRequest,
} from '../../src/x509/index.ts';
import { anchorOf, CLASS_SCOPE, describeCertificate, NOW, named, testKey } from './support.ts';

function hssKey(text: string, master: number) {
  const trees = new HssTrees({ shape: parseHssShape(text)!, master: new Uint8Array(32).fill(master) });
  let leaf = 0n;
  return {
    spki: hssSpki(trees.publicKey())!,
    sign: async (message: Uint8Array) => trees.sign(leaf++, message),
  };
}

const classical = testKey('p256');
const signer = hssKey('H5/W4', 1);
const authority = hssKey('N24/H5/W4', 2);

describe('RFC 9802: an HSS/LMS key in a signer certificate', () => {
  it('issued by a P-256 root: it is read, its path is valid, it is a signer', async () => {
    const root = parseCertificate(
      await issueCertificate(
        describeCertificate({ profile: 'root', publicKey: classical.spki, notAfter: null }),
        classical.sign,
      ),
    );
    const leaf = parseCertificate(
      await issueCertificate(
        describeCertificate({ profile: 'signer', publicKey: signer.spki, issuer: issuerOf(root) }),
        classical.sign,
      ),
    );
    expect(leaf.keyType).toBe('hss-lms');
    const verdict = validatePath({
      chain: [leaf],
      anchors: [anchorOf(root)],
      at: NOW,
      purpose: OID.codeSigning,
    });
    expect(verdict.ok).toBe(true);
    expect(judgeSigner(leaf, { scopes: [CLASS_SCOPE], minimumGeneration: 0, denied: [] }).ok).toBe(true);
    expect(toHex(leaf.der)).toContain('304e300d060b2a864886f70d0109100311033d00');
  });
});

describe('RFC 9802: certificates signed by HSS/LMS', () => {
  const chain = async () => {
    const root = parseCertificate(
      await issueCertificate(
        describeCertificate({ profile: 'root', publicKey: authority.spki, notAfter: null }),
        authority.sign,
      ),
    );
    const description = describeCertificate({
      profile: 'signer',
      publicKey: classical.spki,
      issuer: issuerOf(root),
    });
    return { root, leaf: parseCertificate(await issueCertificate(description, authority.sign)) };
  };

  it('signatureAlgorithm id-alg-hss-lms-hashsig without parameters, the signature as it is; the path is valid', async () => {
    const { root, leaf } = await chain();
    expect(leaf.signatureAlgorithm).toBe('1.2.840.113549.1.9.16.3.17');
    expect(leaf.signature).toHaveLength(4 + 8 + 4 + 24 * 52 + 24 * 5);
    expect(
      validatePath({ chain: [leaf], anchors: [anchorOf(root)], at: NOW, purpose: OID.codeSigning }).ok,
    ).toBe(true);
  });

  it('a changed signature, and one by another HSS/LMS key, are refused', async () => {
    const { root, leaf } = await chain();
    const changed = parseCertificate(concat(leaf.der.subarray(0, -1), Uint8Array.of(leaf.der.at(-1)! ^ 1)));
    const anchors = [anchorOf(root)];
    expect(validatePath({ chain: [changed], anchors, at: NOW }).ok).toBe(false);
    const strangers = [{ ...anchors[0]!, spki: signer.spki }];
    expect(validatePath({ chain: [leaf], anchors: strangers, at: NOW }).ok).toBe(false);
  });

  it('an algorithm judges only keys of its own type', () => {
    const row = UNIT_ALGORITHMS.find(({ oid }) => oid === OID.hssLms)!;
    expect(row.verify(classical.spki, new Uint8Array(1), new Uint8Array(64))).toBe(false);
  });
});

describe('RFC 2986: a request by an HSS/LMS key', () => {
  it('proves with one signature that the asker holds the key', async () => {
    const request = await writeRequest(
      {
        profile: 'signer',
        subject: named('signer'),
        publicKey: signer.spki,
        trial: true,
        scopes: [CLASS_SCOPE],
        generation: 1,
      },
      signer.sign,
    );
    expect(parseRequest(request)).toMatchObject({ keyType: 'hss-lms', trial: true });
  });
});
