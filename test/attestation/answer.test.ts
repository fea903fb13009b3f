/** What a unit answers, and what it does not: docs/attestation.md. */
import { describe, expect, it } from 'vitest';
import {
  answerChallenge,
  CHALLENGE_REFUSALS,
  type ChallengeRefusal,
  type RegionRequest,
  readMeasurement,
  writeChallenge,
} from '../../src/attestation/index.ts';
import { concat, fromHex } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type { MemoryMap } from '../../src/image/index.ts';
import type { UnitRecord } from '../../src/unit/index.ts';
import {
  attesterOver,
  challenge,
  DEVICE,
  flashOf,
  MEMORY,
  NEW,
  NONCE,
  PAGE,
  RECORD,
  RECOVERY,
} from './bench.ts';

const ask = (region: RegionRequest, record: UnitRecord = RECORD, changes = {}) =>
  answerChallenge(writeChallenge(challenge({ region })), attesterOver(flashOf(), changes, record));
const withMap = (memory: Partial<MemoryMap>) => ({ ...RECORD, memory: { ...MEMORY, ...memory } });

describe('what is answered', () => {
  it('SHA-256 over the nonce and then every byte of the region, the erased rest included', () => {
    const answer = ask({ name: 'running' });
    if (!answer.ok) return expect.unreachable();
    const slot = concat(NEW, new Uint8Array(8 * PAGE - NEW.length).fill(0xff));
    expect(answer.measured).toMatchObject({ area: 'B', address: 0x4000, length: 8 * PAGE });
    expect(answer.measured.digest).toEqual(sha256(NONCE, slot));
    expect(readMeasurement(answer.claims.measurements[0]!.body)).toEqual(answer.measured);
  });

  it('RFC 9711 4.2.1: the UEID is of type RAND, 128 bits hashed from identifiers; oemid and hwmodel go with it', () => {
    const answer = ask({ name: 'running' });
    if (!answer.ok) return expect.unreachable();
    const ids = [RECORD.vendor_id, RECORD.class_ids[0]!, RECORD.device_id].map((id) =>
      fromHex(id.replaceAll('-', '')),
    );
    expect(answer.claims.ueid).toEqual(concat(fromHex('01'), sha256(...ids).subarray(0, 16)));
    expect(answer.claims.oemid).toEqual(ids[0]);
    expect(answer.claims.hwmodel).toEqual(ids[1]);
    expect(answer.claims.dbgstat).toBe('disabled-since-boot');
  });

  it('RFC 9711 4.2.9: an open debug port is told as enabled', () => {
    const answer = ask({ name: 'running' }, { ...RECORD, debug: 'open' });
    expect(answer.ok && answer.claims.dbgstat).toBe('enabled');
  });

  it('a unit that runs its recovery image measures that, and names no manifest', () => {
    const answer = ask({ name: 'running' }, RECORD, { running: 'recovery' });
    if (!answer.ok) return expect.unreachable();
    const area = concat(RECOVERY, new Uint8Array(2 * PAGE - RECOVERY.length).fill(0xff));
    expect(answer.measured).toMatchObject({ area: 'recovery', manifestDigest: undefined });
    expect(answer.measured.digest).toEqual(sha256(NONCE, area));
    expect(answer.claims.software).toBeUndefined();
  });
});

describe('what is not answered', () => {
  const cases: Record<ChallengeRefusal, readonly (readonly [string, () => ReturnType<typeof ask>])[]> = {
    'challenge-malformed': [
      ['something else', () => answerChallenge(fromHex('a0'), attesterOver(flashOf()))],
    ],
    'challenge-for-another-unit': [
      [
        'another device identifier',
        () =>
          answerChallenge(
            writeChallenge(challenge({ deviceId: DEVICE.slice().reverse() })),
            attesterOver(flashOf()),
          ),
      ],
    ],
    'nothing-runs': [
      ['a unit that was not started', () => ask({ name: 'running' }, RECORD, { running: undefined })],
    ],
    'region-unknown': [['no such area', () => ask({ name: 'C' })]],
    'region-not-allowed': [
      ['the marks', () => ask({ name: 'state' })],
      ['the kept envelopes', () => ask({ name: 'envelopes' })],
      ['the boot log', () => ask({ name: 'boot_log' })],
      ['the marks, by address', () => ask({ address: 0xc000, length: PAGE })],
      ['the boot log, by address', () => ask({ address: 0xe000, length: PAGE })],
      [
        'RAM',
        () =>
          ask({ address: 0x2000_0000, length: PAGE }, withMap({ ram: { address: 0x2000_0000, size: PAGE } })),
      ],
      [
        'a slot that the class leaves out',
        () => ask({ name: 'A' }, { ...RECORD, attestation: { regions: ['B'] } }),
      ],
      [
        'the same by address',
        () => ask({ address: 0x1000, length: PAGE }, { ...RECORD, attestation: { regions: ['B'] } }),
      ],
      [
        'a staging area, from which nothing runs',
        () => ask({ name: 'B' }, withMap({ shape: 'staged' }), { running: 0 }),
      ],
    ],
    'region-outside': [
      ['no memory there', () => ask({ address: 0x9_0000, length: PAGE })],
      ['beyond the end of a slot', () => ask({ address: 0x4000 + 7 * PAGE, length: 2 * PAGE })],
      ['nothing at all', () => ask({ address: 0x4000, length: 0 })],
      ['further than numbers go', () => ask({ address: 0x4000, length: Number.MAX_SAFE_INTEGER })],
    ],
    'region-not-pages': [
      ['one byte, which could be guessed', () => ask({ address: 0x4000, length: 1 })],
      ['a page and a byte', () => ask({ address: 0x4000, length: PAGE + 1 })],
      ['a page that begins inside another', () => ask({ address: 0x4008, length: PAGE })],
    ],
    'region-empty': [
      [
        'a slot without a whole image',
        () => {
          const attester = attesterOver(flashOf());
          const slots = attester.unit
            .marks()!
            .slots.with(0, { ...attester.unit.marks()!.slots[0], state: 'filling' });
          const unit = {
            ...attester.unit,
            marks: () => ({ ...attester.unit.marks()!, slots: slots as never }),
          };
          return answerChallenge(writeChallenge(challenge({ region: { name: 'A' } })), { ...attester, unit });
        },
      ],
    ],
  };
  const rows = Object.entries(cases).flatMap(([code, list]) =>
    list.map(([name, act]) => ({ code, name, act })),
  );
  it.each(rows)('$code: $name', ({ code, act }) => {
    expect(act()).toMatchObject({ ok: false, refusal: code });
  });

  it('each has a row that says what to do', () => {
    expect(Object.keys(cases)).toEqual(Object.keys(CHALLENGE_REFUSALS));
  });
});
