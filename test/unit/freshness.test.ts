import { describe, expect, it } from 'vitest';
import { encode } from '../../src/cbor/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type { SlotView, UnitState } from '../../src/unit/index.ts';
import { check, makerChain, release, signedAt, signedBy, unitOf } from './maker.ts';
import { rawRelease, sealedRaw } from './raw-release.ts';

const chain = await makerChain();
const envelope = await sealedRaw(signedBy(chain));
const digest = sha256(encode(rawRelease()));
const OTHER = new Uint8Array(32).fill(5);

type Occupied = 'filling' | 'ready' | 'kept';
const slot = (state: Occupied, sequenceNumber: bigint, manifestDigest: Uint8Array = digest): SlotView => ({
  state,
  sequenceNumber,
  manifestDigest,
});
const EMPTY: SlotView = { state: 'empty' };
const on = (state: Partial<UnitState>, offered = envelope) => check(unitOf(chain, { state }), offered);

describe('step freshness', () => {
  it('[M] 8.4.2: a number is rejected when lower, so the floor itself is still good', () => {
    const floors = { sequenceNumber: 7n, securityVersion: 0, signerGeneration: 0 };
    expect(on({ floors }).verdict).toBe('accepted');
  });

  it.each(['ready', 'kept'] as const)(
    'equal number and digest, %s: already there; an image that came along is judged all the same',
    (state) => {
      const slots = [slot('kept', 6n, OTHER), slot(state, 7n)];
      const verdict = on({ slots, running: 0 });
      expect(verdict.verdict).toBe('accepted');
      expect(verdict.facts).toMatchObject({ effect: 'already there', slot: 'B' });
      expect(verdict.steps.slice(7).map(({ outcome }) => outcome)).toEqual(['passed', 'passed']);
      const forged = envelope.slice();
      forged[forged.length - 1]! ^= 1;
      expect(on({ slots, running: 0 }, forged).refusal?.code).toBe('image-digest-wrong');
    },
  );

  it('equal number and digest, detached: already there, and its image need not be fetched', async () => {
    const detached = await release({ seal: signedBy(chain), detached: true });
    const slots = [slot('kept', 7n, detached.manifestDigest), EMPTY];
    const verdict = on({ slots, running: 0 }, detached.envelope);
    expect(verdict.verdict).toBe('accepted');
    expect(verdict.steps.slice(7).map(({ outcome }) => outcome)).toEqual(['not judged', 'not judged']);
  });

  it('equal number and digest, filling: resumes in the slot where it began', () => {
    const verdict = on({ slots: [slot('kept', 6n, OTHER), slot('filling', 7n)], running: 0 });
    expect(verdict.verdict).toBe('accepted');
    expect(verdict.facts).toMatchObject({ effect: 'resume', slot: 'B' });
  });

  it('an unfinished install binds nobody: another release with a lower number may take its place', () => {
    const verdict = on({ slots: [slot('kept', 6n, OTHER), slot('filling', 9n, OTHER)], running: 0 });
    expect(verdict.facts).toMatchObject({ effect: 'new install', slot: 'B' });
  });

  it('a ready image that never started gives way to a higher number', () => {
    const verdict = on({ slots: [slot('kept', 5n, OTHER), slot('ready', 6n, OTHER)], running: 0 });
    expect(verdict.facts).toMatchObject({ effect: 'new install', slot: 'B' });
  });

  it('the running slot is never the target', () => {
    expect(on({ slots: [EMPTY, slot('kept', 6n, OTHER)], running: 1 }).facts.slot).toBe('A');
    expect(on({ slots: [slot('kept', 6n, OTHER), EMPTY], running: 0 }).facts.slot).toBe('B');
  });

  it('what fell back is tried again until it has had its tries, and a new digest at once', () => {
    expect(on({ fallen: [{ manifestDigest: digest, tries: 2 }] }).verdict).toBe('accepted');
    expect(on({ fallen: [{ manifestDigest: OTHER, tries: 3 }] }).verdict).toBe('accepted');
  });

  it('sequence numbers of 64 bits are compared exactly', async () => {
    const high = await sealedRaw(signedBy(chain), { number: 2n ** 64n - 1n });
    const floors = { sequenceNumber: 2n ** 64n - 2n, securityVersion: 0, signerGeneration: 0 };
    expect(on({ floors }, high).facts.sequenceNumber).toBe(2n ** 64n - 1n);
    expect(on({ floors }).refusal?.code).toBe('sequence-number-too-low');
  });

  it('the security version comes from the protected header: label -70001', async () => {
    const verdict = on({}, await sealedRaw(signedAt(chain, 4)));
    expect(verdict.facts.securityVersion).toBe(4);
  });

  it('a security version in the unprotected header says nothing', async () => {
    const { signer, intermediate } = chain;
    const seal = signedBy(chain, {
      unprotectedHeaders: [
        [33, [signer.der, intermediate.der]],
        [-70_001, 9],
      ],
    });
    expect(on({}, await sealedRaw(seal)).facts.securityVersion).toBe(0);
  });
});
