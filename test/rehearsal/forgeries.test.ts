import { createPublicKey, randomBytes, verify } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { EVERYBODYS_KEY, EVERYBODYS_SIGNATURE } from '../../src/rehearsal/forgeries/everybodys-key.ts';
import type { ThreatName } from '../../src/rehearsal/forgeries/threats.ts';
import {
  FORGERIES,
  type Forgery,
  rehearsalJson,
  rehearse,
  THREATS,
  type Threat,
} from '../../src/rehearsal/index.ts';
import { detachedSubject, hashBasedSubject, plainSubject, SUBJECTS } from './subjects.ts';

describe('the table of forgeries', () => {
  it('has a name of its own for every row, and at least eighty rows', () => {
    const names = FORGERIES.map(({ name }) => name);
    expect(new Set(names).size).toBe(names.length);
    expect(names.length).toBeGreaterThanOrEqual(80);
  });
});

describe('the threats of RFC 9124 section 4.2', () => {
  it('are eighteen, each embodied by a forgery or said to be outside', () => {
    expect(THREATS.length).toBe(18);
    const embodied = new Set(FORGERIES.map(({ threat }) => threat));
    const left = THREATS.filter(({ name, outside }: Threat) => !embodied.has(name as ThreatName) && !outside);
    expect(left).toEqual([]);
  });
});

describe('every forgery that applies is refused at its step, with its refusal, by', () => {
  it.each([...SUBJECTS, { name: 'a hash-based signer', make: hashBasedSubject }])(
    '$name',
    async ({ make }) => {
      const rehearsal = await rehearse(await make());
      expect(rehearsal.kind).toBe('carried out');
      if (rehearsal.kind !== 'carried out') return;
      const failed = rehearsal.rows.filter(({ outcome }) => outcome === 'failed');
      expect(failed.map(({ row, because }) => `${row.name}: ${because}`)).toEqual([]);
      expect(rehearsal.rows.filter(({ outcome }) => outcome === 'passed').length).toBeGreaterThan(80);
    },
  );
});

describe('a key under which everybody can sign', () => {
  const NAME = 'A key under which everybody can sign';
  const [row] = FORGERIES.filter(({ name }) => name === NAME);

  it('takes its one signature over whatever there is, as node:crypto alone would: RFC 8032 section 5.1.7', () => {
    const key = createPublicKey({ key: Buffer.from(EVERYBODYS_KEY), format: 'der', type: 'spki' });
    for (const length of [0, 1, 32, 5000])
      expect(verify(null, randomBytes(length), key, EVERYBODYS_SIGNATURE)).toBe(true);
  });

  it('is refused at authentication where signers have Ed25519 keys, and is no matter elsewhere', async () => {
    const outcomeOf = async (type: 'p256' | 'ed25519') => {
      const rehearsal = await rehearse(await plainSubject(type), undefined, [row!]);
      if (rehearsal.kind !== 'carried out') throw new Error(rehearsal.why);
      const { outcome, heard, against, steps } = rehearsal.rows[0]!;
      return { outcome, heard, against, at: steps?.find((step) => step.outcome === 'refused')?.step };
    };
    expect(await outcomeOf('ed25519')).toEqual({
      outcome: 'passed',
      heard: 'signature-wrong',
      against: 'stand-in',
      at: 'authentication',
    });
    expect(await outcomeOf('p256')).toMatchObject({ outcome: 'exposed', heard: undefined });
  });
});

describe('a rehearsal fails where a forgery', () => {
  const row = FORGERIES.find(({ name }) => name === 'One bit of the manifest')!;
  const outcomeOf = async (changed: Partial<Forgery>) => {
    const subject = await plainSubject();
    const rehearsal = await rehearse(subject, undefined, [{ ...row, ...changed }]);
    const { outcome, counts, rows } = rehearsalJson(subject, rehearsal);
    return { outcome, failed: counts.failed, because: rows[0]!.because };
  };
  const genuine: Forgery['attack'] = {
    against: 'unit',
    carryOut: (_, party) => party.ask(party.offer),
  };

  it('is accepted', async () => {
    expect(await outcomeOf({ attack: genuine })).toEqual({
      outcome: 'failed',
      failed: 1,
      because: 'what came of it: accepted; it must be refused at step envelope, manifest-digest-wrong',
    });
  });

  it('is refused at a later step than it must be', async () => {
    expect(await outcomeOf({ refusal: 'envelope-too-large' })).toMatchObject({
      outcome: 'failed',
      because: expect.stringContaining('refused at step envelope, manifest-digest-wrong'),
    });
    const later = FORGERIES.find(({ name }) => name === 'The image taken out')!;
    expect(await outcomeOf({ attack: later.attack })).toMatchObject({
      outcome: 'failed',
      because: expect.stringContaining('it was refused at step content, payload-missing'),
    });
  });

  it('is refused as it must be, and flash was written to all the same', async () => {
    const attack: Forgery['attack'] = {
      against: 'unit',
      carryOut: async (lab, party) => ({
        ...(await row.attack.carryOut(lab, party)),
        harm: '8 flash operations before it was refused',
      }),
    };
    expect(await outcomeOf({ attack })).toMatchObject({
      outcome: 'failed',
      because: 'it was refused as it must be, but 8 flash operations before it was refused',
    });
  });

  it('and passes where it is refused as it must be', async () => {
    expect(await outcomeOf({})).toEqual({ outcome: 'passed', failed: 0, because: null });
  });
});

describe('a payload that the unit does not take', () => {
  it('is told first, and nothing of it is forged', async () => {
    const [subject, stranger] = [await plainSubject(), await plainSubject()];
    const rehearsal = await rehearse({ ...subject, offer: stranger.offer });
    expect(rehearsal).toMatchObject({ kind: 'not taken', refusal: { code: 'signer-not-anchored' } });
    expect(rehearsalJson(subject, rehearsal)).toMatchObject({ outcome: 'not taken', rows: [] });
  });

  it('nor where its image is not at hand', async () => {
    const subject = await detachedSubject();
    const rehearsal = await rehearse({ ...subject, offer: { envelope: subject.offer.envelope } });
    expect(rehearsal).toMatchObject({ kind: 'not taken', refusal: null });
  });
});
