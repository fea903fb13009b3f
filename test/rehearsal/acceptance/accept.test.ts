import { describe, expect, test } from 'vitest';
import { sourceOf } from '../../../src/bytes/index.ts';
import { acceptanceSchema } from '../../../src/rehearsal/acceptance/schema.ts';
import {
  type AcceptanceProgress,
  acceptanceJson,
  rehearseAcceptance,
  type UnitFacts,
} from '../../../src/rehearsal/index.ts';
import { imageOf } from '../../unit/maker.ts';
import { NOW } from '../../x509/support.ts';
import { CLASSES, RUNNING, RUNNING_DIGEST, sourceFor, unitsOf } from './fleet.ts';

const DIGEST = '44'.repeat(32);
const CIRCUMSTANCES = {
  rehearsed: NOW.toISOString(),
  envelope: { size_bytes: 1, sha256: DIGEST },
  image: null,
  inventory: { size_bytes: 1, sha256: DIGEST, unused_columns: [] },
  minimum_battery: null,
};

const unit = (serial: string, facts: UnitFacts = {}): UnitFacts => ({
  serial,
  class: 'vent',
  sequence_number: '6',
  manifest_digest: DIGEST,
  ...facts,
});

/** Another image than the one that the delta is for. */
function otherImages() {
  return [sourceOf(imageOf(5000, 3))];
}

async function askAll(payload: string, units: readonly UnitFacts[], more = {}) {
  const acceptance = await rehearseAcceptance({
    envelope: sourceFor(payload),
    units: unitsOf(units),
    classes: CLASSES,
    now: NOW,
    ...more,
  });
  return acceptanceSchema.parse(acceptanceJson(acceptance, CIRCUMSTANCES));
}

describe('acceptance of a fleet', () => {
  test('everyone accepts: one group, its units counted, the first few named', async () => {
    const json = await askAll(
      'ordinary',
      ['1', '2', '3', '4', '5', '6', '7'].map((each) => unit(each)),
    );
    expect(json.outcome).toBe('everyone accepts');
    expect(json.counts).toMatchObject({ units: 7, accepted: 7, refused: 0, unread: 0, groups: 1 });
    expect(json.groups[0]).toMatchObject({ units: 7, serials: ['1', '2', '3', '4', '5'] });
  });

  test('who would refuse, why, and what to change, most units first', async () => {
    const json = await askAll('ordinary', [
      unit('1'),
      unit('2', { sequence_number: '9' }),
      unit('3', { sequence_number: '12' }),
      unit('4', { slot_size: '4000' }),
      unit('5', { anchors: 'spare' }),
      unit('6', { anchors: 'spare' }),
      unit('7', { anchors: 'spare' }),
    ]);
    expect(json.outcome).toBe('some are left behind');
    expect(json.remedies.map(({ code, units }) => [code, units])).toEqual([
      ['signer-not-anchored', 3],
      ['sequence-number-too-low', 2],
      ['image-too-large', 1],
    ]);
    const [anchor, number, size] = json.remedies.map(({ changes }) => changes.join('; '));
    expect(anchor).toContain('second signer sign under a root that these units trust (spare)');
    expect(anchor).toContain('stepping-stone release');
    expect(number).toContain('a number above 12');
    expect(size).toContain('make the image fit into 4000 bytes');
  });

  test('units that cannot be read or belong to no class are counted and named, never dropped', async () => {
    const json = await askAll('ordinary', [
      unit('1'),
      unit('2', { class: 'chimney' }),
      unit('3', { class: 'chimney' }),
      unit('4', { clock: 'sometimes' }),
      { class: 'vent' },
      unit('6', { class: 'dosing' }),
      unit('7', { sequence_number: undefined, version: '9.9.9', manifest_digest: undefined }),
      unit('8', { sequence_number: '7', manifest_digest: undefined }),
      unit('9', { other_slot: 'ready' }),
      unit('10', { anchors: 'root willow' }),
    ]);
    expect(json.counts).toMatchObject({ units: 10, accepted: 1, refused: 0, unread: 9 });
    expect(json.outcome).toBe('not all could be judged');
    expect(json.unread[0]).toMatchObject({
      fact: 'class',
      units: 2,
      examples: [
        { line: 3, serial: '2', found: 'chimney' },
        { line: 4, serial: '3', found: 'chimney' },
      ],
    });
    expect(json.unread.map(({ fact }) => fact)).toEqual([
      'class',
      'clock',
      'serial',
      'cohort',
      'version',
      'manifest_digest',
      'other_sequence_number',
      'anchors',
    ]);
    expect(json.unread.find(({ fact }) => fact === 'cohort')!.expected).toContain('hold a key by cohort');
  });

  test('what runs is found by its version where the release is on record, and so are the floors that it left', async () => {
    const known = { version: '1.4.0', sequence_number: undefined, manifest_digest: undefined };
    const json = await askAll('ordinary', [unit('1', known)]);
    expect(json.groups[0]!.facts).toMatchObject({
      sequence_number: '5',
      sequence_floor: '5',
      security_version: '1',
      manifest_digest: '55'.repeat(32),
    });
    expect(json.groups[0]!.refusal?.code).toBe('security-version-below-floor');
  });

  test('a MAC is judged with a stand-in key, and units of a cohort that got none are left behind', async () => {
    const units = [
      unit('1', { class: 'dosing', cohort: 'north' }),
      unit('2', { class: 'dosing', cohort: 'south' }),
    ];
    const json = await askAll('for one cohort', units);
    expect(json.stand_in_mac).toBe(true);
    expect(json.counts).toMatchObject({ accepted: 1, refused: 1 });
    expect(json.remedies[0]!.changes[0]).toContain('with the key of their cohort too (south)');
    expect((await askAll('for both cohorts', units)).outcome).toBe('everyone accepts');
  });

  test('an encrypted image is judged as far as the ciphertext: who is no recipient refuses', async () => {
    const key = CLASSES.get('keyed')!.recordOf(undefined).unit_keys[0]!;
    expect(key.purpose).toBe('decryption');
    const { decryptionKeyId } = await import('../../../src/unit/index.ts');
    const id = Buffer.from(decryptionKeyId(Buffer.from(key.spki, 'hex'))).toString('hex');
    const json = await askAll('encrypted', [
      unit('1', { class: 'keyed', decryption_key_id: id }),
      unit('2', { class: 'keyed', decryption_key_id: '00'.repeat(8) }),
    ]);
    expect(json.counts).toMatchObject({ accepted: 0, not_judged_to_the_end: 1, refused: 1 });
    expect(json.groups.find(({ not_judged }) => not_judged)!.not_judged).toContain('only units hold the key');
    expect(json.remedies[0]!.code).toBe('recipient-missing');
  });

  test('a detached image that is not at hand leaves the answer open', async () => {
    const json = await askAll('detached', [unit('1')]);
    expect(json.outcome).toBe('not all could be judged');
    expect(json.groups[0]).toMatchObject({ not_judged: 'the image: it was not at hand' });
  });

  test('a delta: judged up to the precursor, and to the end where the release that units run is at hand', async () => {
    const thin = { class: 'thin', sequence_number: '6' };
    const units = [
      unit('1', { ...thin, manifest_digest: RUNNING_DIGEST }),
      unit('2', { ...thin, manifest_digest: '66'.repeat(32) }),
    ];
    const blind = await askAll('by delta', units);
    expect(blind.counts).toMatchObject({ accepted: 0, not_judged_to_the_end: 2, refused: 0, groups: 1 });
    expect(blind.groups[0]!.not_judged).toContain('--running');
    const seeing = await askAll('by delta', units, { running: RUNNING });
    expect(seeing.counts).toMatchObject({ accepted: 1, not_judged_to_the_end: 1, groups: 2 });
    const other = new Map([...RUNNING, ['66'.repeat(32), otherImages()]]);
    const whole = await askAll('by delta', units, { running: other });
    expect(whole.counts).toMatchObject({ accepted: 1, refused: 1 });
    expect(whole.remedies[0]).toMatchObject({ code: 'precursor-wrong', units: 1 });
    expect(whole.remedies[0]!.changes[0]).toContain('the whole image of the same release');
  });

  test('units with too little energy left, or an open debug port, are counted beside the answer', async () => {
    const units = [
      unit('1', { battery_mwh: '10', debug: 'open' }),
      unit('2', { battery_mwh: '1000' }),
      unit('3'),
    ];
    const json = await askAll('ordinary', units, { minimumBattery: () => 50 });
    expect(json.counts).toMatchObject({ accepted: 3, low_battery: 1, debug_open: 1 });
  });

  test('progress tells how many groups were asked, and how long it will take', async () => {
    const steps: AcceptanceProgress[] = [];
    const units = Array.from({ length: 40 }, (_, i) => unit(String(i), { hardware_revision: `R${i}` }));
    await askAll('ordinary', units, { progress: (step: AcceptanceProgress) => steps.push(step) });
    const last = steps.at(-1)!;
    expect(last).toMatchObject({ doing: 'asking', done: 32, total: 40 });
    expect(last.doing === 'asking' && last.secondsLeft).toBeGreaterThan(0);
  });

  test('nobody is asked: nothing was judged', async () => {
    expect((await askAll('ordinary', [])).outcome).toBe('not all could be judged');
  });
});
