import { generateKeyPairSync } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { defaultMemoryMap } from '../../src/image/index.ts';
import { checkValue, unwrapKey, wrapKey } from '../../src/keys/index.ts';
import {
  type AnchorStore,
  balance,
  JOB_FORMAT,
  judgeResult,
  observeOverwrite,
  type ProvisionJob,
  type ProvisionResult,
  readJob,
  readResult,
  readSerials,
  runJob,
  type StationPorts,
  UNIT_KEY_PURPOSES,
  virtualAnchorStore,
} from '../../src/provision/index.ts';

const stationKey = new Uint8Array(32).fill(7);
const macKey = new Uint8Array(32).fill(9);

function makeKey() {
  const { publicKey, privateKey } = generateKeyPairSync('ec', { namedCurve: 'prime256v1' });
  return {
    spki: new Uint8Array(publicKey.export({ format: 'der', type: 'spki' })),
    privateKey: new Uint8Array(privateKey.export({ format: 'der', type: 'pkcs8' })),
  };
}

function job(overrides: Partial<ProvisionJob> = {}): ProvisionJob {
  return {
    format: JOB_FORMAT,
    batch: '9a8c3a38-7a34-4bd5-8f5e-9b4a3e4f9d10',
    issued: '2026-11-25T09:00:00.000Z',
    trial: true,
    vendor_domain: 'hollinridge.example',
    vendor_id: '7f3c4dd3-58b7-5d0e-8d8d-6f54b3f2a001',
    class_name: 'dosing',
    class_ids: ['149a892a-ea1e-5f65-bce3-27594a29ad0f'],
    scheme: 'symmetric',
    profile: 'suit-sha256-hmac-a128kw-a128ctr',
    clock: false,
    memory: defaultMemoryMap({ core: 'cortex-m' }),
    trial_attempts: 3,
    anchors: [{ label: 'root', name: '3000', spki: toHex(makeKey().spki), purpose: 'release' }],
    mac_keys: [
      {
        id: toHex(checkValue(macKey)),
        label: 'dosing class key',
        wrapped: toHex(wrapKey(stationKey, macKey)),
        check_value: toHex(checkValue(macKey)),
      },
    ],
    station: { name: 'bench-3', check_value: toHex(checkValue(stationKey)) },
    unit_keys: [...UNIT_KEY_PURPOSES],
    floors: { sequence_number: '0', security_version: 0, signer_generation: 0 },
    denied_signers: [],
    first: null,
    serials: ['0001', '0002'],
    cautions: [],
    ...overrides,
  };
}

const ports = (overrides: Partial<StationPorts> = {}): StationPorts => ({
  unwrap: async ({ wrapped }) => unwrapKey(stationKey, fromHex(wrapped)),
  anchorStore: virtualAnchorStore,
  makeUnitKey: makeKey,
  keepSecret: async (secret) => ({ trial_hex: toHex(secret) }),
  keepPrivateKey: async (info) => ({ trial_hex: toHex(info) }),
  program: async () => null,
  now: () => new Date('2026-11-25T10:00:00Z'),
  ...overrides,
});

const outcomes = (issued: ProvisionJob, result: ProvisionResult) =>
  judgeResult(issued, result).map((unit) =>
    unit.outcome === 'open' ? unit.problems.join('; ') : unit.outcome,
  );

describe('a station result', () => {
  it('makes a unit provisioned when every value read back is the one issued', async () => {
    const issued = job();
    const result = await runJob(issued, 'bench-3', ports());
    expect(outcomes(issued, readResult(JSON.stringify(result)))).toEqual(['provisioned', 'provisioned']);
  });

  it('leaves a unit open when its anchor could be overwritten after the lock', async () => {
    const unlocked = (): AnchorStore => ({ ...virtualAnchorStore(), lock: () => undefined });
    const issued = job();
    const result = await runJob(issued, 'bench-3', ports({ anchorStore: unlocked }));
    expect(outcomes(issued, result)[0]).toContain('the anchor is not locked: it could be overwritten');
  });

  it('takes what is read back as proof, not what the write reported', () => {
    const honest = virtualAnchorStore();
    honest.write(0, new Uint8Array([1, 2, 3]));
    const silent: AnchorStore = { ...honest, overwrite: () => undefined };
    expect(observeOverwrite(silent, 0)).toBe('refused');
    expect(observeOverwrite(honest, 0)).toBe('overwritten');
  });

  it.each([
    [
      'a lock that was not proved',
      { overwrite_attempt: { attempted: false, observed: 'refused' } },
      'no overwrite was attempted',
    ],
    ['an open debug port', { debug: 'open' }, 'the debug port is open'],
    ['a foreign anchor', { anchors_read_back: [] }, 'the anchors read back are not those that were issued'],
    ['another MAC key', { mac_key_check_values: [] }, 'the check values of the MAC keys differ'],
    [
      'another content key',
      { content_key_check_values: [{ id: 'aa'.repeat(8), check_value: 'aa'.repeat(8) }] },
      'the check values of the content keys differ',
    ],
    ['a missing unit key', { unit_keys: [] }, "the unit's attestation key is missing"],
    [
      'another first firmware',
      { first_envelope_sha256: 'ab'.repeat(32) },
      'the first firmware on the unit is not the one',
    ],
  ])('leaves a unit open for %s', async (_, change, problem) => {
    const issued = job();
    const result = await runJob(issued, 'bench-3', ports());
    Object.assign(result.units[0]!, change);
    expect(outcomes(issued, result)[0]).toContain(problem);
  });

  it('puts content keys into units wrapped for the station, locked, and reports their check values', async () => {
    const kek = new Uint8Array(16).fill(3);
    const id = toHex(checkValue(kek));
    const held = { id, label: 'content.dosing', wrapped: toHex(wrapKey(stationKey, kek)), check_value: id };
    const issued = readJob(JSON.stringify(job({ content_keys: [held] })));
    const records: unknown[] = [];
    const program: StationPorts['program'] = async (record, secrets) => {
      records.push(record.content_keys, toHex(secrets.contentKeys.get(id)!));
      return null;
    };
    const result = await runJob(issued, 'bench-3', ports({ program }));
    expect(outcomes(issued, readResult(JSON.stringify(result)))).toEqual(['provisioned', 'provisioned']);
    expect(records[0]).toEqual([{ id, label: 'content.dosing', secret: { trial_hex: toHex(kek) } }]);
    expect(records[1]).toBe(toHex(kek));
    expect(JSON.stringify(result)).not.toContain(toHex(kek));
  });

  it('leaves units open that report the same public key', async () => {
    const copied = makeKey();
    const issued = job();
    const makeUnitKey = () => ({ spki: copied.spki, privateKey: copied.privateKey.slice() });
    const result = await runJob(issued, 'bench-3', ports({ makeUnitKey }));
    expect(outcomes(issued, result)[0]).toContain('is not its own');
  });

  it('leaves serial numbers open that were never issued, or are reported twice', async () => {
    const issued = job();
    const result = await runJob(job({ serials: ['0009'] }), 'bench-3', ports());
    expect(outcomes(issued, { ...result, units: [result.units[0]!, result.units[0]!] })).toEqual([
      'the serial number was not issued in this batch',
      'the serial number is reported twice',
    ]);
  });
});

describe('a job', () => {
  it('carries secret keys only wrapped (RFC 3394)', () => {
    expect(JSON.stringify(job())).not.toContain(toHex(macKey));
  });

  it('is not run where the unwrapped key is not the announced one', async () => {
    const unwrap = async () => new Uint8Array(32).fill(8);
    await expect(runJob(job(), 'bench-3', ports({ unwrap }))).rejects.toMatchObject({
      code: 'station-key-wrong',
    });
  });

  it('names the field that is wrong', () => {
    expect(readJob(JSON.stringify(job())).serials).toEqual(['0001', '0002']);
    expect(() => readJob(JSON.stringify({ ...job(), floors: {} }))).toThrow(/floors\.sequence_number/);
    expect(() => readJob('PNG')).toThrow(/not JSON/);
  });

  it('takes serial numbers one a line, each once', () => {
    expect(readSerials('0001\r\n\n0002\n')).toEqual(['0001', '0002']);
    expect(() => readSerials('0001\n0001\n')).toThrow(/stands in it twice/);
    expect(() => readSerials('../evil\n')).toThrow(/line 1/);
    expect(() => readSerials('\n')).toThrow(/0 serial numbers/);
  });
});

describe('the books', () => {
  it('balance: issued = provisioned + scrapped + open', () => {
    const books = balance(['a', 'b', 'c', 'd'], {
      provisioned: new Set(['a', 'x']),
      scrapped: new Set(['b', 'a']),
    });
    expect(books).toEqual({ issued: 4, provisioned: 1, scrapped: 1, open: 2 });
  });
});
