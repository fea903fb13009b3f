/** What a report must be before it counts in the books of the fleet. */
import { describe, expect, it } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { type JudgeBooks, judgeReport } from '../../src/fleet/intake/judge.ts';
import { type KnownRelease, sealReport } from '../../src/report/index.ts';
import { freshSigner } from '../cose/keys.ts';
import { DEVICE, DIGEST, FAILED, RELEASE, SUCCESS } from '../report/samples.ts';

const signer = freshSigner('ESP256');
const SENDER = { deviceId: DEVICE, age: 40 };
const unit = {
  className: 'vent',
  serial: '0001',
  reportKey: signer.publicKey,
  macKey: undefined,
  lastHeard: undefined,
};
const name = { classId: 'c0'.repeat(16), device: toHex(DEVICE) };
const books = (releases: readonly [string, KnownRelease][] = [[toHex(DIGEST), RELEASE]]): JudgeBooks => ({
  find: async (id) => (toHex(id) === name.device ? { name, unit } : undefined),
  releases: async () => new Map(releases),
});
const judged = (report: Uint8Array, known = books()) => judgeReport(report, known, new Date());

describe('a report', () => {
  it('counts where its unit signed it, about a release on record', async () => {
    expect(await judged(await sealReport(SUCCESS, SENDER, signer))).toMatchObject({
      taken: true,
      report: { ...name, age: 40, manifestDigest: toHex(DIGEST), version: '1.4.0', outcome: 'success' },
    });
  });

  it('of success with something that nobody sealed here is doubted; of refusing that it counts', async () => {
    const success = await judged(await sealReport(SUCCESS, SENDER, signer), books([]));
    expect(success).toMatchObject({ taken: false, why: 'doubted', from: { name } });
    const refused = await judged(await sealReport(FAILED, SENDER, signer), books([]));
    expect(refused).toMatchObject({ taken: true, report: { outcome: 'failed', sequence: undefined } });
  });

  it("under another key than the unit's is forged, of no known unit foreign, without form malformed", async () => {
    const stranger = freshSigner('ESP256');
    expect(await judged(await sealReport(SUCCESS, SENDER, stranger))).toMatchObject({ why: 'forged' });
    const elsewhere = { ...SENDER, deviceId: DEVICE.map((byte) => byte ^ 1) };
    expect(await judged(await sealReport(SUCCESS, elsewhere, signer))).toMatchObject({ why: 'foreign' });
    for (const bytes of [new Uint8Array(), new Uint8Array([0xd2, 0x84]), DIGEST])
      expect(await judged(bytes)).toMatchObject({ taken: false, why: 'malformed', from: undefined });
  });
});
