/**
 * Evidence for a release: what stands in it comes from records that the ledger vouches for, what is absent is said to be,
 * and the tables are those of RFC 9124 section 4.3 and of the rules that the trade knows, each with how far it was read.
 */
import { createHash } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { retireApprover } from '../../src/authority/index.ts';
import { evidencePage, gatherEvidence } from '../../src/evidence/index.ts';
import { REQUIREMENTS } from '../../src/evidence/requirements.ts';
import { RULES } from '../../src/evidence/rules.ts';
import { evidenceSchema } from '../../src/evidence/schema.ts';
import { classRecord } from '../../src/provision/index.ts';
import { rehearsalJson, rehearse, THREATS } from '../../src/rehearsal/index.ts';
import { seal, withdraw } from '../../src/release/index.ts';
import { appendEntry, readClass } from '../../src/workspace/index.ts';
import { type At, approveBy, asked, people, sealAsked } from '../release/approvals.ts';
import { editClass, prepared, request } from '../release/setup.ts';

const gather = (at: At, more: Partial<Parameters<typeof gatherEvidence>[0]> = {}) =>
  gatherEvidence({ workspace: at.workspace, release: 'vent/1', rehearsals: [], acceptance: [], ...more });

async function sealed(): Promise<At> {
  const at = await prepared();
  await seal(request(at));
  return at;
}

/** A rehearsal document of the sealed payload with invented counts, as `rehearse --out` writes it, and its entry. */
async function rehearsed(at: At, failed = 0, enter = true): Promise<string> {
  const envelope = readFileSync(join(at.folder, 'vent.suit'));
  const { release } = await gather(at);
  const sha256 = createHash('sha256').update(envelope).digest('hex');
  const counts = { rows: 90, passed: 80 - failed, failed, exposed: 10 };
  const row = {
    threat: 'IMG.EXTRA',
    built: 'one byte more',
    where: [],
    against: 'stand-in',
    step: 'image',
    refusal: 'image-differs',
    heard: null,
  };
  const document = {
    format: 'fieldseal.rehearsal/1',
    outcome: failed === 0 ? 'passed' : 'failed',
    rehearsed: '2026-11-27T10:00:00.000Z',
    envelope: { size_bytes: envelope.length, sha256 },
    image: null,
    manifest_digest: release.manifest_digest,
    sequence_number: '1',
    unit: {
      class: 'vent',
      serial: '0001',
      trial: true,
      scheme: 'asymmetric',
      profile: release.profile,
      judged_until: 'start',
      swapped: ['the key of the root'],
    },
    refusal: null,
    why: null,
    counts,
    threats: THREATS.map(({ name, section, about }) => ({
      name,
      section,
      about,
      outside: null,
      passed: 4,
      failed: name === 'IMG.EXTRA' ? failed : 0,
      exposed: 1,
    })),
    rows: [
      {
        ...row,
        name: 'a byte behind the image',
        outcome: failed > 0 ? 'failed' : 'passed',
        because: failed > 0 ? 'it was accepted' : null,
      },
      { ...row, name: 'a forgery for a clock', outcome: 'exposed', because: 'units have no clock' },
    ],
  };
  if (enter)
    appendEntry(at.workspace, 'rehearsed', {
      envelope_sha256: sha256,
      manifest_digest: release.manifest_digest,
      outcome: document.outcome,
      ...counts,
    });
  const file = join(at.folder, `rehearsal-${failed}.json`);
  writeFileSync(file, JSON.stringify(document));
  return file;
}

/** A step of a broadcast of a release, as steering enters it in the ledger. */
const step = (at: At, manifest_digest: string, what: string, wave: number | null, says: string) =>
  appendEntry(at.workspace, 'broadcast-step', {
    ...{
      class: 'vent',
      broadcast: 1,
      release: '1',
      manifest_digest,
      event: 7,
      at: '2031-05-01T06:00:00.000Z',
    },
    ...{ step: what, wave, who: 'ada', says },
  });

describe('how it went out', () => {
  test('stands there with each step, its wave and its reason; steps of other releases do not', async () => {
    const at = await sealed();
    expect((await gather(at)).broadcast).toEqual([]);
    expect(evidencePage(await gather(at))).toContain('Not broadcast in waves');
    const { manifest_digest: digest } = (await gather(at)).release;
    step(at, digest, 'wave-open', 1, 'wave pilot is the pilot, 3 units by name');
    step(at, 'f'.repeat(64), 'wave-open', 2, 'another release');
    step(at, digest, 'broadcast-paused', null, 'paused: wave pilot: 1 of 3 units fell back');
    const evidence = await gather(at);
    expect(evidence.broadcast.map(({ step: what, wave }) => [what, wave])).toEqual([
      ['wave-open', 1],
      ['broadcast-paused', null],
    ]);
    expect(evidenceSchema.parse(evidence)).toEqual(evidence);
    const page = evidencePage(evidence);
    expect(page).toContain('paused: wave pilot: 1 of 3 units fell back');
    expect(page).not.toContain('another release');
  });
});

describe('evidence for a release', () => {
  test('names what was sealed, by which key up to which root, and how it fits, out of the record on the ledger', async () => {
    const at = await sealed();
    const evidence = await gather(at, { envelope: join(at.folder, 'vent.suit') });
    expect(evidenceSchema.parse(JSON.parse(JSON.stringify(evidence)))).toEqual(evidence);
    expect(evidence.release).toMatchObject({
      class: 'vent',
      version: '1.4.0',
      sequence_number: '1',
      envelope: { compared: true },
    });
    expect(evidence.images).toMatchObject([
      { slot: 'A', size_bytes: 6000, room_bytes: 256 * 1024, address: 0x0800_0000 },
    ]);
    expect(evidence.seals).toMatchObject([
      { name: 'line-1', chain_holds: true, anchor: 'root', ceremony: 'ceremonies/line-1.json' },
    ]);
    expect(evidence.ledger).toMatchObject({ intact: true });
    expect(evidence).toMatchObject({
      trial: true,
      approval: null,
      rehearsals: [],
      acceptance: [],
      support_until: null,
      plan: null,
    });
  });

  test('is the same document and the same page, byte for byte, for the same records', async () => {
    const at = await sealed();
    const [first, second] = [await gather(at), await gather(at)];
    expect(second).toEqual(first);
    expect(evidencePage(second)).toBe(evidencePage(first));
  });

  test('of a symmetric release names the MAC keys, and says that they are in units too', async () => {
    const at = await prepared();
    await seal(request(at, { className: 'dosing' }));
    const evidence = await gather(at, { release: 'dosing/1' });
    expect(evidence.seals.map(({ name, chain_holds }) => [name, chain_holds])).toEqual([
      ['dosing', null],
      ['dosing.north', null],
    ]);
    expect(evidence.rules.find(({ where }) => where === '5.4-4')).toMatchObject({ cover: 'not shown' });
    expect(evidence.requirements.find(({ section }) => section === '4.3.18')).toMatchObject({
      cover: 'not shown',
    });
  });

  test('is refused for a release that is not on record, a record that was changed, and an envelope of something else', async () => {
    const at = await sealed();
    await expect(gather(at, { release: 'vent/9' })).rejects.toMatchObject({
      code: 'release-unknown',
      status: 2,
    });
    await expect(gather(at, { release: 'nonsense' })).rejects.toMatchObject({ code: 'release-unknown' });
    await expect(gather(at, { envelope: at.image })).rejects.toMatchObject({
      code: 'envelope-differs',
      status: 1,
    });
    const record = at.workspace.path('releases/vent/1.json');
    writeFileSync(record, readFileSync(record, 'utf8').replace('1.4.0', '1.5.0'));
    await expect(gather(at)).rejects.toMatchObject({ code: 'release-changed', status: 1 });
  });

  test('a certificate that was swapped since does not hold, and the ledger says that it is not intact', async () => {
    const at = await sealed();
    const file = at.workspace.path('certificates/line-1.pem');
    writeFileSync(file, readFileSync(at.workspace.path('certificates/root.pem')));
    const evidence = await gather(at);
    expect(evidence.seals[0]).toMatchObject({ chain_holds: false });
    expect(evidence.ledger.intact).toBe(false);
    expect(evidence.requirements.find(({ section }) => section === '4.3.4')).toMatchObject({
      cover: 'not shown',
    });
    expect(evidencePage(evidence)).toContain('the chain does not hold');
  });
});

describe('approvals in the evidence', () => {
  test('who asked and who approved stand in it and are verified anew; one that is over or retired later changes nothing', async () => {
    const at = await people();
    await asked(at);
    await approveBy(at, 'bela');
    await sealAsked(at);
    retireApprover(at.workspace, 'bela', 'left the company');
    const { approval } = await gather(at);
    expect(approval).toMatchObject({ requested_by: 'Ada Brook', counted: 1, needed: 1, holds: true });
    expect(approval?.approvals).toMatchObject([{ person: 'Bela Marsh', counts: true }]);
    await expect(withdraw(at.workspace, 'vent/1', { reason: 'late' })).rejects.toMatchObject({
      code: 'request-used',
    });
    const record = at.workspace.path('requests/vent/1-approval-1.json');
    writeFileSync(record, readFileSync(record, 'utf8').replace('"Bela Marsh"', '"Ada Brook"'));
    expect((await gather(at)).approval).toMatchObject({ holds: false });
  });
});

describe('rehearsals in the evidence', () => {
  test('absent ones are said to be not done, also where the ledger knows of one whose result was not given', async () => {
    const at = await sealed();
    expect(evidencePage(await gather(at))).toContain('The ledger knows of no rehearsal of this release.');
    await rehearsed(at);
    const evidence = await gather(at);
    expect(evidence.rehearsals_on_ledger).toBe(1);
    expect(evidencePage(evidence)).toContain('its result was not given');
    expect(evidence.requirements.find(({ section }) => section === '4.3.19')).toMatchObject({
      cover: 'not shown',
    });
  });

  test('one that passed shows requirements; a failed forgery does not, and is named with its reason', async () => {
    const at = await sealed();
    const passed = await gather(at, { rehearsals: [await rehearsed(at)] });
    expect(passed.rehearsals[0]).toMatchObject({ outcome: 'passed', on_ledger: true, counts: { rows: 90 } });
    const coverOf = (evidence: typeof passed, section: string) =>
      evidence.requirements.find((row) => row.section === section)?.cover;
    expect(coverOf(passed, '4.3.15')).toBe('shown');
    const failed = await gather(at, { rehearsals: [await rehearsed(at, 2, false)] });
    expect(failed.rehearsals[0]).toMatchObject({ outcome: 'failed', on_ledger: false });
    expect([coverOf(failed, '4.3.15'), coverOf(failed, '4.3.19')]).toEqual(['not shown', 'not shown']);
    expect(evidencePage(failed)).toContain('it was accepted');
  });

  test('a real rehearsal of the real payload is taken', async () => {
    const at = await sealed();
    const envelope = readFileSync(join(at.folder, 'vent.suit'));
    const record = classRecord(at.workspace, await readClass(at.workspace, 'vent'), {
      serial: '1',
      cohort: undefined,
    });
    const subject = { offer: { envelope }, now: new Date(), record };
    const file = join(at.folder, 'real.json');
    writeFileSync(file, JSON.stringify(rehearsalJson(subject, await rehearse(subject))));
    const { rehearsals } = await gather(at, { rehearsals: [file] });
    expect(rehearsals[0]!.counts.rows).toBeGreaterThanOrEqual(80);
    expect(rehearsals[0]!.threats).toHaveLength(18);
  });

  test('one of another payload, or anything else, is no evidence', async () => {
    const at = await sealed();
    const file = await rehearsed(at);
    writeFileSync(
      file,
      readFileSync(file, 'utf8').replace(/"manifest_digest":"[0-9a-f]{4}/, '"manifest_digest":"0000'),
    );
    await expect(gather(at, { rehearsals: [file] })).rejects.toMatchObject({ code: 'evidence-foreign' });
    await expect(gather(at, { rehearsals: [at.image] })).rejects.toMatchObject({
      code: 'evidence-unreadable',
    });
    await expect(gather(at, { acceptance: [file] })).rejects.toMatchObject({ code: 'evidence-unreadable' });
  });
});

describe('the tables', () => {
  test('RFC 9124 section 4.3: all twenty-one requirements, in order, once each', async () => {
    expect(REQUIREMENTS.map(({ section }) => section)).toEqual(
      Array.from({ length: 21 }, (_, i) => `4.3.${i + 1}`),
    );
    const { requirements } = await gather(await sealed());
    expect(requirements.every(({ evidence }) => evidence.length > 0)).toBe(true);
    expect(new Set(requirements.map(({ cover }) => cover)).size).toBeGreaterThan(2);
  });

  test('every rule says how far it was read, and what is decided in the product is not claimed', async () => {
    const { rules } = await gather(await sealed());
    expect(rules).toHaveLength(RULES.length);
    for (const name of ['EU CRA', 'ETSI EN 303 645', 'IEC 62443-4-2', 'NIST SP 800-193', 'UN R156'])
      expect(
        rules.some(({ rule }) => rule.startsWith(name)),
        name,
      ).toBe(true);
    expect(
      rules.filter(({ rule }) => rule.startsWith('NIST')).every(({ status }) => status === 'from memory'),
    ).toBe(true);
    expect(rules.find(({ where }) => where === 'EDR 3.11')).toMatchObject({ cover: 'by the product' });
    const partly = ['Annex I Part I (2)(d)', 'CR 2.8 to 2.12', '4.1 to 4.4', 'SUM-1 to SUM-5, SM-8'];
    for (const place of partly)
      expect(rules.find(({ where }) => where === place)?.cover, place).toBe('in part');
  });

  test('the support period, the decision record and the units on record are shown where they are, and missed where not', async () => {
    const at = await sealed();
    const before = await gather(at);
    expect(before.rules.find(({ where }) => where === 'Article 13(8)')).toMatchObject({ cover: 'not shown' });
    expect(before.rules.find(({ where }) => where === '5.6')).toMatchObject({
      evidence: 'no provisioned unit is on record',
    });
    const other = await prepared();
    editClass(
      other.workspace,
      'vent',
      '\ncertificate_policy:',
      '\nplan: { support_until: "2034-06-30" }\n\ncertificate_policy:',
    );
    appendEntry(other.workspace, 'plan-decided', {
      class: 'vent',
      decided_by: 'Ada Brook',
      planned: '2026-01-01',
      conflicts: [],
      files: [],
    });
    await seal(request(other));
    const after = await gather(other);
    expect(after).toMatchObject({ support_until: '2034-06-30', plan: { decided_by: 'Ada Brook' } });
    expect(after.rules.find(({ where }) => where === 'Article 13(8)')).toMatchObject({ cover: 'shown' });
  });
});
