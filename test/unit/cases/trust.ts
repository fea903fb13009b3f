/** Trust updates: what is wrong with one, and who may sign what. */
import { encode } from '../../../src/cbor/index.ts';
import type { TrustState } from '../../../src/unit/index.ts';
import { check, OTHER_CLASS, release, signedBy } from '../maker.ts';
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
} from '../trust-maker.ts';
import type { Case } from './case.ts';

const unit = trustUnit();
const DENIED = 'ab'.repeat(32);
const taken = (changes: Partial<TrustState> = {}): TrustState => ({
  rank: 'release',
  numbers: { release: 5n, spare: 0n },
  manifestDigest: new Uint8Array(32),
  policy: { ...NOTHING, minimumGeneration: 2, denied: [DENIED], securityVersion: 3 },
  ...changes,
});
const after = trustUnit({ state: { trust: taken() } });
const sent =
  (...given: Parameters<typeof trustUpdate>) =>
  async () =>
    check(unit, await trustUpdate(...given));
const sentAfter =
  (...given: Parameters<typeof trustUpdate>) =>
  async () =>
    check(after, await trustUpdate(...given));

export const TRUST_CASES: readonly Case[] = [
  {
    code: 'component-not-for-purpose',
    title: '[M] 9: a signer of releases signs a trust update',
    verdict: sent({}, { seal: signedBy(chain) }),
  },
  {
    code: 'component-not-for-purpose',
    title: '[M] 9: a signer of trust updates seals a release',
    verdict: async () => check(unit, (await release({ seal: signedBy(trustChain) })).envelope),
  },
  {
    code: 'policy-malformed',
    title: '[M] 8.4.8.9: content that is no policy',
    verdict: sent({}, { content: encode(['no policy']) }),
  },
  {
    code: 'policy-malformed',
    title: '[M] 8.4.9.2: a policy with the digest of another',
    verdict: sent({}, { digest: new Uint8Array(32) }),
  },
  {
    code: 'retirement-not-permitted',
    title: 'RFC 9124 4.3.18: a trust signer below the root retires the spare one',
    verdict: sent({ retired: [rootKey(spare)] }),
  },
  {
    code: 'retirement-not-permitted',
    title: 'RFC 9124 4.3.18: the spare root retires itself',
    verdict: sent({ retired: [rootKey(spare)] }, { seal: signedBy(spareTrust) }),
  },
  {
    code: 'trust-number-too-low',
    title: 'RFC 9124 4.3.1: an older trust update is sent again',
    verdict: sentAfter({ minimumGeneration: 2, denied: [DENIED], securityVersion: 3 }, { number: 4n }),
  },
  {
    code: 'trust-number-too-low',
    title: 'RFC 9124 4.3.1: the number of the last one, with another policy',
    verdict: sentAfter({ minimumGeneration: 2, denied: [DENIED], securityVersion: 3 }, { number: 5n }),
  },
  {
    code: 'trust-update-loosens',
    title: 'RFC 9124 4.3.18: a key is denied no longer',
    verdict: sentAfter({ minimumGeneration: 2, securityVersion: 3 }, { number: 6n }),
  },
  {
    code: 'trust-update-loosens',
    title: 'RFC 9124 4.3.18: the generation falls',
    verdict: sentAfter({ minimumGeneration: 1, denied: [DENIED], securityVersion: 3 }, { number: 6n }),
  },
  {
    code: 'trust-update-loosens',
    title: 'RFC 9124 4.3.18: the security floor falls',
    verdict: sentAfter({ minimumGeneration: 2, denied: [DENIED], securityVersion: 2 }, { number: 6n }),
  },
  {
    code: 'trust-update-strands',
    title: 'RFC 9019 4.1: a security floor above all that would start',
    verdict: async () =>
      check(
        { ...unit, startable: (floor) => ({ before: true, after: floor < 2 }) },
        await trustUpdate({ securityVersion: 2 }),
      ),
  },
  {
    code: 'class-wrong',
    title: '[M] 8.4.9.1: a trust update for another class',
    verdict: sent({}, { classId: OTHER_CLASS }),
  },
  {
    code: 'marks-lost',
    title: 'RFC 9124 4.2.1: the policy that the marks name is gone',
    verdict: async () =>
      check(
        trustUnit({ state: { trust: taken({ policy: undefined }) } }),
        (await release({ seal: signedBy(chain) })).envelope,
      ),
  },
  {
    code: 'signer-denied',
    title: 'RFC 9124 4.3.18: a release by a signer that a trust update denied',
    verdict: async () =>
      check(
        trustUnit({ state: { trust: taken({ policy: { ...NOTHING, denied: [signerKey(chain)] } }) } }),
        (await release({ seal: signedBy(chain) })).envelope,
      ),
  },
  {
    code: 'signer-generation-too-low',
    title: 'RFC 9124 4.3.18: a release by a signer of a generation that a trust update ended',
    verdict: async () => check(after, (await release({ seal: signedBy(chain) })).envelope),
  },
  {
    code: 'signer-not-anchored',
    title: 'RFC 9124 4.3.18: a release below a retired root',
    verdict: async () =>
      check(
        trustUnit({
          state: { trust: taken({ rank: 'spare', policy: { ...NOTHING, retired: [rootKey(chain)] } }) },
        }),
        (await release({ seal: signedBy(chain) })).envelope,
      ),
  },
  {
    code: 'signer-not-anchored',
    title: 'docs/deployment-profile.md: a release below a spare root that has replaced none',
    verdict: async () => check(unit, (await release({ seal: signedBy(spare) })).envelope),
  },
  {
    code: 'component-unknown',
    title: 'docs/deployment-profile.md: a unit without a policy area',
    verdict: async () =>
      check(
        trustUnit({ record: { memory: { ...unit.record.memory, policy: undefined } as never } }),
        await trustUpdate({}),
      ),
  },
];
