/** Encrypted messages around envelopes: judged before they are decrypted, then like any envelope. */
import { describe, expect, it } from 'vitest';
import {
  decryptionKey,
  encryptedRelease,
  KEK,
  toHolders,
  toUnit,
  unitWithKek,
  unitWithKey,
} from './encrypted.ts';
import { CLASS_KEY, COHORT_KEY, check, macedWith, makerChain, release, signedBy } from './maker.ts';
import { macedMessage, messageAround } from './messages.ts';

const chain = await makerChain();
const own = decryptionKey();
const unit = unitWithKey(chain, own);
const { envelope } = await release({ seal: signedBy(chain) });

describe('RFC 9052 4.2, 5.1: a COSE_Sign1 around a COSE_Encrypt around the envelope', () => {
  it('is accepted as the envelope is, and the trace says so in step 1', async () => {
    const message = await messageAround(envelope, chain, [toUnit(own)]);
    const verdict = check(unit, message);
    expect(verdict).toMatchObject({ verdict: 'accepted', refusal: null });
    const lines = verdict.steps[0]!.comparisons.map(({ what }) => what);
    expect(lines).toContain('encrypted message around the envelope');
    expect(lines.indexOf('signature over the sealed digest')).toBeLessThan(
      lines.indexOf('encrypted message around the envelope'),
    );
    expect(verdict.steps.map(({ step, outcome }) => [step, outcome])).toEqual(
      check(unit, envelope).steps.map(({ step, outcome }) => [step, outcome]),
    );
  });

  it('around an envelope whose image is encrypted too', async () => {
    const both = await encryptedRelease({ recipients: [toUnit(own)], seal: signedBy(chain) });
    const message = await messageAround(both.envelope, chain, [toUnit(own)]);
    expect(check(unit, message).verdict).toBe('accepted');
  });

  it('RFC 9124 4.3.4: one bit altered anywhere is refused before anything of the envelope is read', async () => {
    const message = await messageAround(envelope, chain, [toUnit(own)]);
    for (let at = 0; at < message.length; at += 41) {
      const altered = message.slice();
      altered[at]! ^= 1;
      const verdict = check(unit, altered);
      expect(verdict.refusal?.step).toBe('envelope');
      expect(verdict.facts.manifestDigest).toBeUndefined();
    }
  });

  it('inside, a forged envelope is refused at its own step', async () => {
    const other = await makerChain();
    const forged = await release({ seal: signedBy(other) });
    const message = await messageAround(forged.envelope, chain, [toUnit(own)]);
    expect(check(unit, message).refusal?.step).toBe('signer');
  });

  it('the signature of a block, taken over, vouches for no message', async () => {
    const [block] = await signedBy(chain, { attached: true })(new Uint8Array(40));
    expect(check(unit, block!).refusal?.code).toBe('message-not-decrypted');
  });
});

describe('RFC 9052 6.2: the same with a COSE_Mac0', () => {
  const symmetric = unitWithKek(KEK);

  it('is accepted under the key of the class, and refused under another', async () => {
    const sealed = await release({ seal: macedWith(CLASS_KEY) });
    const message = await macedMessage(sealed.envelope, [toHolders(KEK)]);
    expect(check(symmetric, message).verdict).toBe('accepted');
    const strangers = { id: CLASS_KEY.id, key: COHORT_KEY.key };
    const forged = await macedMessage(sealed.envelope, [toHolders(KEK)], strangers);
    expect(check(symmetric, forged).refusal?.code).toBe('message-not-authentic');
  });

  it('[MTI] 5.2: a MAC vouches for nothing to a unit of the asymmetric scheme', async () => {
    const message = await macedMessage(envelope, [toUnit(own)]);
    expect(check(unit, message).refusal?.code).toBe('message-not-authentic');
  });
});
