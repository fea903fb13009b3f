/** What looks at the device kit's C besides its answers: two analysers, a fuzzer under sanitizers, and at length a proof. */
import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { builtFile, make } from '../../scripts/device/runner.ts';
import { classRecord, leftOut } from '../../scripts/device/unit-record.ts';
import { FUZZ_CLASS_KEY } from '../../scripts/fuzz/payloads/authority.ts';
import { makeRigs } from '../../scripts/fuzz/payloads/rigs.ts';
import { concat, fromHex, toHex } from '../../src/bytes/index.ts';
import { DEEP } from './both.ts';
import { commandPresent, toolchainPresent } from './toolchain.ts';

const folder = mkdtempSync(join(tmpdir(), 'fieldseal-proof-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const RUNS = DEEP ? 5_000_000 : 40_000;
describe.skipIf(!toolchainPresent || !commandPresent('cppcheck'))('static analysis', () => {
  it('gcc -fanalyzer and cppcheck find nothing in the kit', () => {
    expect(() => make('analyze')).not.toThrow();
  });
});

/** Digests with zeros in their places: what the fuzzer's crypto port computes for anything. */
const blinded = (envelope: Uint8Array) =>
  fromHex(toHex(envelope).replace(/822f5820[0-9a-f]{64}/g, `822f5820${'00'.repeat(32)}`));

describe.skipIf(!toolchainPresent || !commandPresent('clang'))(
  'fuzzing under AddressSanitizer and UBSan',
  () => {
    it(`${RUNS} inputs beyond the seal break nothing`, async () => {
      make('fuzzer');
      const rigs = (await makeRigs()).filter(({ record }) => !leftOut(record)).slice(0, 8);
      const macKeys = new Map([[toHex(FUZZ_CLASS_KEY.id), FUZZ_CLASS_KEY.key]]);
      const classes = rigs.map(({ record }) =>
        classRecord({ record, macKeys, marksKey: new Uint8Array(32) }),
      );
      writeFileSync(join(folder, 'classes'), concat(...classes));
      const seeds = join(folder, 'seeds');
      mkdirSync(seeds);
      for (const [i, { offers, encrypted }] of rigs.entries())
        for (const [j, { envelope }] of [...offers, ...encrypted].entries())
          writeFileSync(join(seeds, `${i}-${j}`), concat(Uint8Array.of(i, 0), blinded(envelope)));
      const args = [`-runs=${RUNS}`, '-seed=1', '-max_len=8192', `-artifact_prefix=${folder}/`, seeds];
      const environment = { ...process.env, FIELDSEAL_FUZZ_CLASSES: join(folder, 'classes') };
      const { status, stderr } = spawnSync(builtFile('fuzzer', 'fuzz'), args, {
        encoding: 'utf8',
        env: environment,
        maxBuffer: 1 << 28,
      });
      expect(stderr.slice(-2000)).not.toMatch(/ERROR|runtime error/);
      expect(status).toBe(0);
      const covered = [...stderr.matchAll(/ cov: (\d+)/g)].map(([, count]) => Number(count));
      expect(Math.max(...covered)).toBeGreaterThan(1000);
    });
  },
);

/** Values of every variable for every input at once (frama-c's Eva): no alarm is a proof, and it takes minutes. */
if (DEEP)
  describe.skipIf(!commandPresent('frama-c'))('over any bytes of any length, from any place in them', () => {
    const alarms = (part: string) => {
      const { stdout } = spawnSync('make', ['-s', '-C', 'device', 'prove', `PART=${part}`], {
        encoding: 'utf8',
      });
      return Number(/^ +(\d+) alarms? generated/m.exec(stdout)?.[1]);
    };

    it.each(['READER', 'ENVELOPE', 'CERTIFICATE', 'MANIFEST'])(
      '%s reads nothing but them',
      (part) => {
        expect(alarms(part)).toBe(0);
      },
      3_600_000,
    );

    it('the same question finds a length that is one too large', () => {
      expect(alarms('FAULT')).toBeGreaterThan(0);
    }, 3_600_000);
  });
