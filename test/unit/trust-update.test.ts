import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { encodeTrustPolicy, readTrustPolicy } from '../../src/unit/index.ts';
import { OID, PURPOSE_OID } from '../../src/x509/index.ts';
import { CLASS_KEY, check, macedWith, release, signedBy, symmetricUnit } from './maker.ts';
import { by, hand } from './policy-maker.ts';
import {
  chain,
  NOTHING,
  rootKey,
  signerKey,
  spare,
  spareTrust,
  trustChain,
  trustUnit,
  trustUpdate,
} from './trust-maker.ts';

const unit = trustUnit();
const FIVE = { release: 5n, spare: 0n };
const rotated = (policy = {}) => ({
  rank: 'spare' as const,
  numbers: { release: 5n, spare: 1n },
  manifestDigest: new Uint8Array(32),
  policy: { ...NOTHING, retired: [rootKey(chain)], ...policy },
});

describe('a trust update (docs/deployment-profile.md section 15)', () => {
  it('of a trust signer is accepted, and says what it changes', async () => {
    const verdict = check(unit, await trustUpdate({ minimumGeneration: 2, denied: [signerKey(chain)] }));
    expect(verdict).toMatchObject({ verdict: 'accepted', refusal: null });
    expect(verdict.facts.trust).toMatchObject({ minimumGeneration: 2, rank: 'release' });
  });

  it('counts by itself: the numbers of releases on board bind it not', async () => {
    const later = trustUnit({
      state: { floors: { sequenceNumber: 900n, securityVersion: 0, signerGeneration: 0 } },
    });
    expect(check(later, await trustUpdate({})).verdict).toBe('accepted');
  });

  it('a generation binds signers of releases, not those of trust updates', async () => {
    const policy = { ...NOTHING, minimumGeneration: 9 };
    const strict = trustUnit({
      state: { trust: { rank: 'release', numbers: FIVE, manifestDigest: new Uint8Array(32), policy } },
    });
    expect(check(strict, await trustUpdate({ minimumGeneration: 9 }, { number: 6n })).verdict).toBe(
      'accepted',
    );
  });

  it('where the class asks for several signers of a release, one trust signer suffices, and counts for no release', async () => {
    const both = { rule: 'all', roles: [{ role: 'author' }, { role: 'approver' }] } as const;
    const strict = trustUnit({ record: { authentication: both } });
    expect(check(strict, await trustUpdate({})).verdict).toBe('accepted');
    const author = await hand('author', { under: chain });
    const trust = await hand('approver', { under: chain, purpose: 'trust' });
    const seal = async (digest: Uint8Array) => [...(await by(author)(digest)), ...(await by(trust)(digest))];
    expect(check(strict, (await release({ seal })).envelope).refusal?.code).toBe('signer-purpose-wrong');
    expect(check(strict, await trustUpdate({}, { seal })).refusal?.code).toBe('signer-purpose-wrong');
  });

  it('a certificate for two purposes is good for neither', async () => {
    expect(PURPOSE_OID).toEqual({
      release: OID.codeSigning,
      trust: OID.trustUpdate,
      announcement: OID.announcement,
    });
    const { certificate } = await hand(undefined, { under: chain });
    const { judgeSigner } = await import('../../src/x509/index.ts');
    const two = { ...certificate, extKeyUsage: [OID.codeSigning, OID.trustUpdate] };
    for (const purpose of ['release', 'trust', 'announcement'] as const) {
      const demands = { scopes: two.subjectAltUris, minimumGeneration: 0, denied: [], purpose };
      expect(judgeSigner(two, demands)).toMatchObject({ ok: false, code: 'signer-purpose' });
    }
  });

  it('means nothing to a unit of the symmetric scheme: a shared key tells nobody apart', async () => {
    const envelope = await trustUpdate({}, { seal: macedWith(CLASS_KEY) });
    expect(check(symmetricUnit([CLASS_KEY]), envelope).refusal?.code).toBe('component-not-for-purpose');
  });
});

describe('the spare root', () => {
  it('retires the release root, and then stands above releases', async () => {
    const update = await trustUpdate({ retired: [rootKey(chain)] }, { seal: signedBy(spareTrust) });
    expect(check(unit, update).verdict).toBe('accepted');
    const after = trustUnit({ state: { trust: rotated() } });
    expect(check(after, (await release({ seal: signedBy(spare) })).envelope).verdict).toBe('accepted');
  });

  it('is not shut out by what the holder of the leaked root sent before', async () => {
    const flooded = trustUnit({
      state: {
        trust: {
          rank: 'release',
          numbers: { release: 2n ** 63n, spare: 0n },
          manifestDigest: new Uint8Array(32),
          policy: {
            ...NOTHING,
            minimumGeneration: 2 ** 32 - 1,
            denied: [signerKey(spareTrust), signerKey(spare)].toSorted(),
          },
        },
      },
    });
    const update = await trustUpdate({ retired: [rootKey(chain)] }, { seal: signedBy(spareTrust) });
    expect(check(flooded, update)).toMatchObject({ verdict: 'accepted', refusal: null });
  });

  it('once it has spoken, the retired root says nothing more', async () => {
    const after = trustUnit({ state: { trust: rotated() } });
    const update = await trustUpdate(
      { retired: [rootKey(chain)] },
      { number: 99n, seal: signedBy(trustChain) },
    );
    expect(check(after, update).refusal?.code).toBe('signer-not-anchored');
  });
});

describe('a policy in CBOR', () => {
  const fingerprint = fc
    .uint8Array({ minLength: 32, maxLength: 32 })
    .map((each) => Buffer.from(each).toString('hex'));
  const list = (maxLength: number) =>
    fc.uniqueArray(fingerprint, { maxLength }).map((each) => each.toSorted());
  const uint32 = fc.integer({ min: 0, max: 2 ** 32 - 1 });

  it('reads back what was written', () => {
    const policies = fc.record({
      minimumGeneration: uint32,
      securityVersion: uint32,
      denied: list(64),
      retired: list(8),
    });
    fc.assert(
      fc.property(policies, (policy) => {
        expect(readTrustPolicy(encodeTrustPolicy(policy))).toEqual(policy);
      }),
      { numRuns: 100 },
    );
  });

  it('anything else is a fault, never an exception', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), (bytes) => {
        expect(readTrustPolicy(bytes)).toHaveProperty('fault');
      }),
      { numRuns: 300 },
    );
  });

  it('65 keys are too many, and one twice or out of order is none', () => {
    const keys = (count: number) => Array.from({ length: count }, (_, i) => i.toString(16).padStart(64, '0'));
    expect(readTrustPolicy(encodeTrustPolicy({ ...NOTHING, denied: keys(64) }))).not.toHaveProperty('fault');
    expect(readTrustPolicy(encodeTrustPolicy({ ...NOTHING, denied: keys(65) }))).toHaveProperty('fault');
    const two = encodeTrustPolicy({ ...NOTHING, denied: keys(2) });
    const changed = two.slice();
    changed[two.length - 3 - 34] = 0xff;
    expect(readTrustPolicy(changed)).toHaveProperty('fault');
  });
});
