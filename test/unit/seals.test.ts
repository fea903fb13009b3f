import { describe, expect, it } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { CborMap, CborTag, encode } from '../../src/cbor/index.ts';
import { LABEL, macStructure0, sealSign1, signStructure } from '../../src/cose/index.ts';
import { hmacSha256, sha256 } from '../../src/crypto/index.ts';
import {
  CLASS_KEY,
  COHORT_KEY,
  check,
  macedWith,
  makerChain,
  type Sealing,
  scopeOf,
  signedBy,
  signerOf,
  symmetricUnit,
  unitOf,
  VENDOR,
  x5chain,
} from './maker.ts';
import { sealedRaw } from './raw-release.ts';

const chain = await makerChain();
const stranger = await makerChain();
const edwards = await makerChain('ed25519');
const both =
  (...seals: Sealing[]): Sealing =>
  async (digest) =>
    (await Promise.all(seals.map((seal) => seal(digest)))).flat();
const says = async (seal: Sealing, unit = unitOf(chain)) => check(unit, await sealedRaw(seal));

describe('[M] 8.3: several authentication blocks over one digest', () => {
  it('a unit takes the signature of its own algorithm, wherever it stands', async () => {
    const two = both(signedBy(edwards, {}, 'ed25519'), signedBy(chain));
    expect((await says(two)).verdict).toBe('accepted');
    expect((await says(two, unitOf(edwards, { type: 'ed25519' }))).verdict).toBe('accepted');
  });

  it('a unit takes the first signer that may seal for it', async () => {
    expect((await says(both(signedBy(stranger), signedBy(chain)))).verdict).toBe('accepted');
  });

  it('where no signer may, the refusal is the first one’s', async () => {
    const other = await makerChain('p256', { scopes: ['urn:uuid:00000000-0000-0000-0000-000000000000'] });
    const unit = unitOf(other);
    const verdict = await says(both(signedBy(other), signedBy(stranger)), unit);
    expect(verdict.refusal?.code).toBe('signer-not-for-this-class');
  });

  it('the signature of the signer that was chosen decides: another good one does not mend it', async () => {
    const forged: Sealing = async (payload) => [
      await sealSign1(signerOf(stranger.keys.signer), {
        payload,
        protectedHeaders: [[LABEL.x5t, [-16, sha256(chain.signer.der)]]],
        unprotectedHeaders: [[LABEL.x5chain, x5chain(chain.signer.der, chain.intermediate.der)]],
      }),
    ];
    expect((await says(both(forged, signedBy(chain)))).refusal?.code).toBe('signature-wrong');
  });

  it('signatures and MACs side by side: each unit sees its own scheme', async () => {
    const mixed = both(macedWith(CLASS_KEY), signedBy(chain));
    expect((await says(mixed)).verdict).toBe('accepted');
    expect((await says(mixed, symmetricUnit([CLASS_KEY]))).verdict).toBe('accepted');
  });

  it('of many signatures only the first eight are looked at', async () => {
    const crowd = both(...new Array(8).fill(signedBy(stranger)), signedBy(chain));
    expect((await says(crowd)).refusal?.code).toBe('signer-not-anchored');
  });
});

describe('RFC 9360 2: how a certificate is bound', () => {
  it('x5chain itself in the protected header needs no x5t', async () => {
    const { signer, intermediate } = chain;
    const protectedHeaders = [[LABEL.x5chain, x5chain(signer.der, intermediate.der)]] as const;
    const verdict = await says(signedBy(chain, { protectedHeaders, unprotectedHeaders: [] }));
    expect(verdict.verdict).toBe('accepted');
  });

  it('the root may come along and changes nothing', async () => {
    const { signer, intermediate, root } = chain;
    const unprotectedHeaders = [[LABEL.x5chain, x5chain(signer.der, intermediate.der, root.der)]] as const;
    expect((await says(signedBy(chain, { unprotectedHeaders }))).verdict).toBe('accepted');
  });

  it('RFC 9052 3.1: headers that are acted upon may be marked critical', async () => {
    const x5t = [LABEL.x5t, [-16, sha256(chain.signer.der)]] as const;
    const protectedHeaders = [[LABEL.crit, [LABEL.x5t, -70_001]], x5t, [-70_001, 2]] as const;
    const verdict = await says(signedBy(chain, { protectedHeaders }));
    expect(verdict.facts.securityVersion).toBe(2);
    expect(verdict.verdict).toBe('accepted');
  });

  it('a signer whose scope is the vendor seals for every class of it', async () => {
    const wide = await makerChain('p256', { scopes: [scopeOf(VENDOR)] });
    expect((await says(signedBy(wide), unitOf(wide))).verdict).toBe('accepted');
  });

  it('a trial unit takes a trial signer, and the facts say so', async () => {
    const trial = await makerChain('p256', { trial: true });
    const verdict = await says(signedBy(trial), unitOf(trial, { record: { trial: true } }));
    expect(verdict.verdict).toBe('accepted');
    expect(verdict.facts.signer!.certificate.trial).toBe(true);
  });

  it('RFC 9019 4.1: a second root of the unit is as good as the first', async () => {
    const { anchors } = unitOf(chain).record;
    const spare = unitOf(stranger, { record: { anchors: [...anchors, ...unitOf(stranger).record.anchors] } });
    expect((await says(signedBy(chain), spare)).verdict).toBe('accepted');
    expect((await says(signedBy(stranger), spare)).verdict).toBe('accepted');
  });
});

describe('dates, where the unit has a clock', () => {
  const late = new Date('2050-01-01T00:00:00Z');

  it('RFC 9124 4.3.18: without a clock dates are not judged, whatever time the caller knows', async () => {
    expect(check(unitOf(chain), await sealedRaw(signedBy(chain)), undefined, late).verdict).toBe('accepted');
  });

  it('a unit with a clock that was given no time judges none and says so', async () => {
    const verdict = check(unitOf(chain, { record: { clock: true } }), await sealedRaw(signedBy(chain)));
    expect(verdict.verdict).toBe('accepted');
    const lines = verdict.steps[1]!.comparisons;
    expect(lines.find(({ what }) => what === 'dates of the certificates')!.ok).toBeNull();
  });
});

describe('RFC 9052 6.2, 6.3: MACs', () => {
  const unnamed: Sealing = async (payload) => {
    const protectedBytes = encode(new CborMap([[LABEL.alg, 5]]));
    const tag = hmacSha256(COHORT_KEY.key, macStructure0(protectedBytes, payload));
    return [encode(new CborTag(17, [protectedBytes, new CborMap([]), null, tag]))];
  };

  it('3.1: without a kid every key of the unit is tried', async () => {
    const verdict = await says(unnamed, symmetricUnit([CLASS_KEY, COHORT_KEY]));
    expect(verdict.verdict).toBe('accepted');
    expect(verdict.facts.macKeyId).toBe(toHex(COHORT_KEY.id));
  });

  it('3.1: without a kid and without the key it does not verify', async () => {
    expect((await says(unnamed, symmetricUnit([CLASS_KEY]))).refusal?.code).toBe('mac-wrong');
  });

  it('3.1: a unit whose keys are not at hand knows no key, whatever is named', async () => {
    const locked = { ...symmetricUnit([CLASS_KEY]), macKeys: new Map() };
    expect((await says(unnamed, locked)).refusal?.code).toBe('mac-key-unknown');
  });

  it('a kid in the protected header counts as well', async () => {
    const seal: Sealing = async (payload) => {
      const protectedBytes = encode(
        new CborMap([
          [LABEL.alg, 5],
          [LABEL.kid, CLASS_KEY.id],
        ]),
      );
      const tag = hmacSha256(CLASS_KEY.key, macStructure0(protectedBytes, payload));
      return [encode(new CborTag(17, [protectedBytes, new CborMap([]), null, tag]))];
    };
    expect((await says(seal, symmetricUnit([COHORT_KEY, CLASS_KEY]))).verdict).toBe('accepted');
  });
});

describe('RFC 9052 4.1: COSE_Sign with a signer of the unit among others', () => {
  it('is taken like a COSE_Sign1 and is not the same bytes', async () => {
    const { signer, intermediate, keys } = chain;
    const seal: Sealing = async (payload) => {
      const authenticated = encode(
        new CborMap([
          [LABEL.alg, -9],
          [LABEL.x5t, [-16, sha256(signer.der)]],
        ]),
      );
      const open = new CborMap([[LABEL.x5chain, x5chain(signer.der, intermediate.der)]]);
      const signature = await keys.signer.sign(signStructure(new Uint8Array(), authenticated, payload));
      const body = [new Uint8Array(), new CborMap([]), null, [[authenticated, open, signature]]];
      return [encode(new CborTag(98, body))];
    };
    expect((await says(seal)).verdict).toBe('accepted');
  });
});
