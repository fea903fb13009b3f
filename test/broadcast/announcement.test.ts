/** Announcements: what a unit hears, and what it takes no notice of. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  ANNOUNCEMENT_TYPE,
  type Announcement,
  encodeAnnouncement,
  inReach,
  judgeAnnouncement,
  macAnnouncement,
  nextOffer,
  readAnnouncement,
  signAnnouncement,
} from '../../src/broadcast/index.ts';
import { fromHex } from '../../src/bytes/index.ts';
import { CborMap, encode } from '../../src/cbor/index.ts';
import { heldMacKey, LABEL, sealMac0, sealSign1 } from '../../src/cose/index.ts';
import { fingerprint } from '../../src/x509/index.ts';
import {
  CLASS_KEY,
  check,
  DEVICE,
  makerChain,
  OTHER_CLASS,
  release,
  signedBy,
  signerOf,
  symmetricUnit,
  unitOf,
  VENT,
} from '../unit/maker.ts';
import { hand } from '../unit/policy-maker.ts';

const chain = await makerChain();
const announcer = await hand(undefined, { under: chain, purpose: 'announcement' });
const stranger = await makerChain();
const foreign = await hand(undefined, { under: stranger, purpose: 'announcement' });

const ANNOUNCEMENT: Announcement = {
  classId: VENT,
  counter: 7n,
  notBefore: 1_800_000_000n,
  expiry: 1_800_600_000n,
  wave: 'pilot',
  reach: { kind: 'share', permille: 1000, lot: new Uint8Array(16) },
  offer: {
    manifestDigest: new Uint8Array(32).fill(1),
    sequenceNumber: 12n,
    envelope: { digest: new Uint8Array(32).fill(2), size: 1715, uri: 'p/0202' },
    images: [{ digest: new Uint8Array(32).fill(3), size: 262_144, uri: 'p/0303' }],
  },
};
const DURING = new Date(1_800_300_000_000);

type Key = Awaited<ReturnType<typeof hand>>;
const by = ({ key, certificate }: Key) => ({
  signer: signerOf(key),
  chain: [certificate.der, chain.intermediate.der],
});
const sealed = (changes: Partial<Announcement> = {}, who: Key = announcer) =>
  signAnnouncement({ ...ANNOUNCEMENT, ...changes }, by(who));
const hears = (message: Uint8Array, options: { clock?: boolean; now?: Date; counter?: bigint } = {}) =>
  judgeAnnouncement({
    unit: unitOf(chain, { record: { clock: options.clock ?? true } }),
    message,
    heard: { counter: options.counter ?? 6n },
    now: options.now ?? DURING,
  });
const codeOf = (verdict: ReturnType<typeof hears>) => (verdict.ok ? 'heard' : verdict.code);

describe('the payload', () => {
  it('is read as it was written', () => {
    expect(readAnnouncement(encodeAnnouncement(ANNOUNCEMENT))).toEqual(ANNOUNCEMENT);
    const byName: Announcement = { ...ANNOUNCEMENT, reach: { kind: 'units', units: [DEVICE] }, offer: null };
    expect(readAnnouncement(encodeAnnouncement(byName))).toEqual(byName);
  });

  it('says which releases are taken first, which condition must be met, and whom it reaches beside a share', () => {
    const stone = { ...ANNOUNCEMENT.offer!, sequenceNumber: 9n };
    const whole: Announcement = {
      ...ANNOUNCEMENT,
      reach: { kind: 'share', permille: 50, lot: new Uint8Array(16), units: [DEVICE] },
      steppingStones: [stone],
      condition: 'vents-closed',
    };
    expect(readAnnouncement(encodeAnnouncement(whole))).toEqual(whole);
    const malformed = (changes: Partial<Announcement>) => () =>
      readAnnouncement(encodeAnnouncement({ ...whole, ...changes }));
    expect(malformed({ offer: null })).toThrow('lead nowhere');
    expect(malformed({ steppingStones: [] })).toThrow('lead nowhere');
    expect(malformed({ steppingStones: [stone, stone] })).toThrow('do not rise');
    expect(malformed({ steppingStones: [ANNOUNCEMENT.offer!] })).toThrow('do not rise');
    expect(malformed({ condition: 'x'.repeat(65) })).toThrow('at most 64');
  });

  it('a unit takes the first stepping stone above what it runs, then the next, then the offer', () => {
    const at = (sequenceNumber: bigint) => ({ ...ANNOUNCEMENT.offer!, sequenceNumber });
    const told = { offer: at(12n), steppingStones: [at(5n), at(9n)] };
    const next = (runs: bigint | undefined) => nextOffer(told, runs)?.sequenceNumber;
    expect([0n, 4n, 5n, 8n, 9n, 11n, 12n, undefined].map(next)).toEqual([5n, 5n, 9n, 9n, 12n, 12n, 12n, 12n]);
    expect(nextOffer({ ...told, offer: null }, 4n)).toBeNull();
  });

  it('with a field that is not known is refused: a unit must not act on half of it', () => {
    const more = new CborMap([
      [1, 1],
      [11, 0],
    ]);
    expect(() => readAnnouncement(encode(more))).toThrow('not known here');
  });

  it('that expires before it begins is refused', () => {
    const wrong = { ...ANNOUNCEMENT, expiry: ANNOUNCEMENT.notBefore };
    expect(() => readAnnouncement(encodeAnnouncement(wrong))).toThrow('expires before it begins');
  });

  it('changed anywhere is refused or reads as something else; nothing else is thrown', () => {
    const genuine = encodeAnnouncement(ANNOUNCEMENT);
    fc.assert(
      fc.property(fc.nat(genuine.length - 1), fc.integer({ min: 1, max: 255 }), (at, mask) => {
        const bytes = genuine.slice();
        bytes[at]! ^= mask;
        try {
          expect(readAnnouncement(bytes)).not.toEqual(ANNOUNCEMENT);
        } catch (error) {
          expect((error as Error).name).toMatch(/^(AnnouncementFault|CborError)$|AssertionError/);
          if ((error as Error).name === 'AssertionError') throw error;
        }
      }),
      { numRuns: 500 },
    );
  });
});

describe('a unit', () => {
  it('hears a sound announcement of its class', async () => {
    const verdict = hears(await sealed());
    expect(verdict).toMatchObject({ ok: true, mine: true });
  });

  it('takes none that it heard already, nor an older one: repeated, or held back', async () => {
    expect(codeOf(hears(await sealed(), { counter: 7n }))).toBe('counter-old');
    expect(codeOf(hears(await sealed(), { counter: 8n }))).toBe('counter-old');
  });

  it('with a clock takes none before its time or after it; without one the counter has to do', async () => {
    const message = await sealed();
    const early = new Date(1_799_999_999_000);
    const late = new Date(1_800_600_000_000);
    expect(codeOf(hears(message, { now: early }))).toBe('not-yet');
    expect(codeOf(hears(message, { now: late }))).toBe('expired');
    expect(codeOf(hears(message, { now: late, clock: false }))).toBe('heard');
  });

  it('takes none for another class, by a foreign root, or changed by one bit', async () => {
    expect(codeOf(hears(await sealed({ classId: OTHER_CLASS })))).toBe('class-other');
    expect(codeOf(hears(await sealed({}, foreign)))).toBe('authority');
    const message = await sealed();
    for (const at of [message.length - 1, message.length - 70, message.length - 100]) {
      const forged = message.slice();
      forged[at]! ^= 1;
      expect(codeOf(hears(forged))).not.toBe('heard');
    }
  });

  it('takes none whose signer is denied or of a generation that ended', async () => {
    const message = await sealed();
    const judged = (state: object) =>
      codeOf(
        judgeAnnouncement({ unit: unitOf(chain, { state }), message, heard: { counter: 0n }, now: DURING }),
      );
    expect(judged({ deniedSigners: [fingerprint(announcer.certificate.spki)] })).toBe('authority');
    // A denied authority takes all below it along (RFC 9124 section 4.3.18).
    expect(judged({ deniedSigners: [fingerprint(chain.intermediate.spki)] })).toBe('authority');
    const floors = { sequenceNumber: 0n, securityVersion: 0, signerGeneration: 99 };
    expect(judged({ floors })).toBe('authority');
  });

  it('in production takes none by a signer for trial; a trial unit does', async () => {
    const trial = await hand(undefined, {
      under: chain,
      purpose: 'announcement',
      trial: true,
    });
    const message = await sealed({}, trial);
    const heardBy = (isTrial: boolean) =>
      codeOf(
        judgeAnnouncement({
          unit: unitOf(chain, { record: { trial: isTrial } }),
          message,
          heard: { counter: 0n },
          now: DURING,
        }),
      );
    expect([heardBy(false), heardBy(true)]).toEqual(['authority', 'heard']);
  });

  it('takes nothing for an announcement that was signed as something else', async () => {
    const { signer, chain: certificates } = by(announcer);
    for (const protectedHeaders of [[], [[LABEL.contentType, 'application/cbor']], [[LABEL.contentType, 60]]])
      expect(
        codeOf(
          hears(
            await sealSign1(signer, {
              payload: encodeAnnouncement(ANNOUNCEMENT),
              attached: true,
              protectedHeaders: [[LABEL.x5chain, certificates], ...(protectedHeaders as never[])],
            }),
          ),
        ),
      ).toBe('type-other');
  });
});

describe('neither key stands in for the other', () => {
  it('a release signer cannot announce', async () => {
    const message = await signAnnouncement(ANNOUNCEMENT, {
      signer: signerOf(chain.keys.signer),
      chain: [chain.signer.der, chain.intermediate.der],
    });
    expect(hears(message)).toMatchObject({
      ok: false,
      code: 'authority',
      detail: expect.stringMatching(/purpose/),
    });
  });

  it('an announcement signer cannot seal a release: refused at the signer step', async () => {
    const asAnnouncer = {
      ...chain,
      signer: announcer.certificate,
      keys: { ...chain.keys, signer: announcer.key },
    };
    const forged = await release({ seal: signedBy(asAnnouncer) });
    expect(check(unitOf(chain), forged.envelope).refusal).toMatchObject({
      step: 'signer',
      code: 'signer-purpose-wrong',
    });
    const genuine = await release({ seal: signedBy(chain) });
    expect(check(unitOf(chain), genuine.envelope).verdict).toBe('accepted');
  });

  it('a MAC under the class key itself is none for an announcement, nor the other way round', async () => {
    const unit = symmetricUnit([CLASS_KEY]);
    const judged = (message: Uint8Array) =>
      codeOf(judgeAnnouncement({ unit, message, heard: { counter: 0n }, now: DURING }));
    const key = heldMacKey(CLASS_KEY.id, CLASS_KEY.key);
    expect(judged(await macAnnouncement(ANNOUNCEMENT, key))).toBe('heard');
    const under = await sealMac0(key, {
      payload: encodeAnnouncement(ANNOUNCEMENT),
      attached: true,
      protectedHeaders: [[LABEL.contentType, ANNOUNCEMENT_TYPE]],
    });
    expect(judged(under)).toBe('signature-wrong');
    expect(judged(await sealed())).toBe('authority');
  });
});

describe('a share of the units', () => {
  const lot = fromHex('000102030405060708090a0b0c0d0e0f');
  const ids = Array.from(
    { length: 2000 },
    (_, i) => `00000000-0000-4000-8000-${String(i).padStart(12, '0')}`,
  );
  const reached = (permille: number) => ids.filter((id) => inReach({ kind: 'share', permille, lot }, id));

  it('is about as large as it says, from none to all', () => {
    expect(reached(0)).toHaveLength(0);
    expect(reached(1000)).toHaveLength(2000);
    expect(reached(100).length / 2000).toBeGreaterThan(0.07);
    expect(reached(100).length / 2000).toBeLessThan(0.13);
  });

  it('grows: whoever was reached stays reached', () => {
    const larger = new Set(reached(300));
    expect(reached(50).every((id) => larger.has(id))).toBe(true);
  });
});
