/**
 * The trust plan. Sizes are compared with real seals; HSS/LMS with RFC 8554 section 5.4 (as trade notes compute it: H10/W4 2512
 * bytes); verify times with published benchmarks (see src/plan/trust/mcu.ts); the rules are named in each finding.
 */
import { writeFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { createClassKey, createContentKeyFor, createRoot } from '../../src/authority/index.ts';
import { figureBook, figuresFromText } from '../../src/plan/figures/book.ts';
import { type Finding, findingsOf } from '../../src/plan/trust/findings.ts';
import { holdingsOf } from '../../src/plan/trust/holdings.ts';
import { planMarkdown } from '../../src/plan/trust/markdown.ts';
import { PUBLISHED_MCUS } from '../../src/plan/trust/mcu.ts';
import { trustPlan } from '../../src/plan/trust/plan.ts';
import { trustPlanSchema } from '../../src/plan/trust/schema.ts';
import { weighProfile } from '../../src/plan/trust/sizes.ts';
import { seal } from '../../src/release/index.ts';
import { PROFILES, readClass, type Workspace } from '../../src/workspace/index.ts';
import { editClass, filePlace, firmware, makeSigner, prepared, request, secrets } from '../release/setup.ts';

const DAY = 86_400_000;
const nobody = { people: [], backups: [] };
const BOOK = figureBook({});

async function planOf(workspace: Workspace, name = 'vent', book = BOOK) {
  return trustPlan(workspace, await readClass(workspace, name), book);
}

/** What the plan says of the class's own profile, before a release of 6000 bytes is sealed, and what sealing it gives. */
async function plannedAndSealed(at: Awaited<ReturnType<typeof prepared>>, className: string) {
  const { alternatives } = await planOf(at.workspace, className);
  const planned = alternatives.find(({ chosen }) => chosen)!;
  const deviceClass = await readClass(at.workspace, className);
  const images =
    deviceClass.memory.shape === 'linked' ? [{ path: at.image }, { path: at.image }] : [{ path: at.image }];
  const { json } = await seal(request(at, { className, version: '1.0.0', images }));
  const envelope = json.envelope as { size_bytes: number };
  return { planned, added: envelope.size_bytes - 6000 * images.length };
}

const withSize = (workspace: Workspace, name: string) =>
  editClass(workspace, name, '\ncertificate_policy:', '\nplan: { image_size: 6000 }\n\ncertificate_policy:');

describe('the bytes that a release adds to its image', () => {
  test.each(['vent', 'twin', 'dosing'])('are those of a real seal, to the byte: class %s', async (name) => {
    const at = await prepared();
    withSize(at.workspace, name);
    const { planned, added } = await plannedAndSealed(at, name);
    expect(planned.added_bytes).toBe(added);
    expect(planned.basis).toBe('certificates on file');
  });

  test('and with encrypted images', async () => {
    const at = await prepared();
    withSize(at.workspace, 'vent');
    editClass(at.workspace, 'vent', 'confidentiality: none', 'confidentiality: image\nrecipients: class');
    await createContentKeyFor(
      at.workspace,
      await readClass(at.workspace, 'vent'),
      undefined,
      nobody,
      secrets,
    );
    const { planned, added } = await plannedAndSealed(at, 'vent');
    expect(planned.encrypted_bytes).toBe(added);
  });

  test('under a profile that there is no signer for yet, within the few bytes by which certificates differ', async () => {
    const at = await prepared();
    withSize(at.workspace, 'vent');
    const deviceClass = await readClass(at.workspace, 'vent');
    await makeSigner(at.workspace, 'line-e', { type: 'ed25519', classes: [deviceClass] });
    const name = 'suit-sha256-ed25519-ecdh-a128ctr';
    const all = { workspace: at.workspace, deviceClass, units: 1, imageBytes: 6000 };
    const none = { ...holdingsOf(at.workspace, deviceClass), signers: [] };
    const alike = await weighProfile(
      { ...all, holdings: none },
      PROFILES.find((each) => each.name === name)!,
    );
    expect(alike.basis).toBe('certificates alike');
    editClass(at.workspace, 'vent', deviceClass.profile.name, name);
    const { added } = await plannedAndSealed(at, 'vent');
    expect(Math.abs(alike.weight.added - added)).toBeLessThanOrEqual(8);
  });

  test('RFC 8554: an HSS/LMS signature H10/W4 alone has 2512 bytes; a MAC seal about 52, with its kid', async () => {
    const at = await prepared();
    const { alternatives } = await planOf(at.workspace);
    const by = (name: string) => alternatives.find(({ authentication }) => authentication === name)!;
    expect(by('HSS-LMS').seal_bytes - by('ESP256').seal_bytes).toBeGreaterThan(2512 - 64 - 40);
    expect(by('HMAC 256/256').seal_bytes).toBe(52);
    expect(alternatives.map(({ profile }) => profile)).toEqual(PROFILES.map(({ name }) => name));
    expect(alternatives.filter(({ chosen }) => chosen)).toHaveLength(1);
  });
});

describe('the time to verify', () => {
  test('is that of the core that the class names, unless something was measured', async () => {
    const at = await prepared();
    const plan = 'plan: { mcu: cortex-m4-64-assembly, image_size: 61440 }\n\ncertificate_policy:';
    editClass(at.workspace, 'vent', '\ncertificate_policy:', `\n${plan}`);
    const own = (await planOf(at.workspace)).alternatives.find(({ chosen }) => chosen)!;
    expect([own.verifications, own.authentication_ms, own.image_ms]).toEqual([2, 122, 100]);
    const entered = await figuresFromText(
      'format: fieldseal.figures/1\nclasses:\n  vent: { esp256_verify: { value: 20, source: "bench, May" } }\n',
      'f.yaml',
    );
    const measured = await planOf(at.workspace, 'vent', figureBook(entered, 'f.yaml'));
    expect(measured.alternatives.find(({ chosen }) => chosen)!.authentication_ms).toBe(40);
    expect(measured.figures).toContainEqual(
      expect.objectContaining({ name: 'esp256_verify', source: 'entered', origin: 'bench, May' }),
    );
  });

  test('of a core that nothing is on file of is told as such', async () => {
    const at = await prepared();
    editClass(at.workspace, 'vent', '\ncertificate_policy:', '\nplan: { mcu: z80 }\n\ncertificate_policy:');
    await expect(planOf(at.workspace)).rejects.toMatchObject({ code: 'wrong-value' });
    expect(PUBLISHED_MCUS.length).toBeGreaterThan(10);
  });
});

describe('if a key leaks', () => {
  const leakOf = async (workspace: Workspace, name: string, key: string) =>
    (await planOf(workspace, name)).leaks.find((leak) => leak.key === key);

  test('a root without a spare cannot be repaired, with one it can; a signer can', async () => {
    const at = await prepared();
    expect(await leakOf(at.workspace, 'vent', 'root')).toMatchObject({ forges: true, repairable: false });
    const place = filePlace(at.workspace, 'spare-root');
    await createRoot(
      at.workspace,
      { name: 'spare-root', spare: true, type: 'ed25519', place, ...nobody },
      secrets,
    );
    expect(await leakOf(at.workspace, 'vent', 'root')).toMatchObject({ repairable: true });
    expect(await leakOf(at.workspace, 'vent', 'signer')).toMatchObject({
      forges: true,
      repairable: true,
      names: ['line-1'],
    });
  });

  test('a signer of a class that asks for two forges nothing alone', async () => {
    const at = await prepared();
    const policy =
      'authentication: { rule: all, roles: [{ role: author }, { role: approver }] }\n\ncertificate_policy:';
    editClass(at.workspace, 'vent', '\ncertificate_policy:', `\n${policy}`);
    expect(await leakOf(at.workspace, 'vent', 'signer')).toMatchObject({ forges: false });
  });

  test('a class key opens every unit and cannot be repaired; it is told whom it reaches', async () => {
    const at = await prepared();
    editClass(
      at.workspace,
      'dosing',
      '\ncertificate_policy:',
      '\nplan: { units: 1200 }\n\ncertificate_policy:',
    );
    expect(await leakOf(at.workspace, 'dosing', 'class key')).toMatchObject({
      forges: true,
      reaches: 1200,
      repairable: false,
    });
    expect(await leakOf(at.workspace, 'dosing', 'cohort key')).toMatchObject({
      names: ['dosing.north'],
      forges: true,
    });
  });
});

describe('findings', () => {
  const weights = (plan: { findings: readonly Pick<Finding, 'id' | 'weight'>[] }) =>
    Object.fromEntries(plan.findings.map(({ id, weight }) => [id, weight]));

  test.each([
    ['consumer: true', 'conflict'],
    ['consumer: false', 'note'],
    ['units: 5', 'weigh'],
  ])('ETSI EN 303 645 5.4-4: a class key in units, %s: %s', async (said, weight) => {
    const at = await prepared();
    editClass(at.workspace, 'dosing', '\ncertificate_policy:', `\nplan: { ${said} }\n\ncertificate_policy:`);
    const plan = await planOf(at.workspace, 'dosing');
    expect(weights(plan)['class-key-in-units']).toBe(weight);
    expect(plan.findings.find(({ id }) => id === 'class-key-in-units')?.rule).toContain('5.4-4');
    expect(weights(await planOf(at.workspace))).not.toHaveProperty('class-key-in-units');
  });

  test('a certificate that ends before the units do is told, and weighs more when it ends within 12 months', async () => {
    const early = await prepared();
    expect(weights(await planOf(early.workspace))['lapses-line-1']).toBe('note');
    const late = await prepared({ now: () => new Date(Date.now() + 500 * DAY) });
    expect(weights(await planOf(late.workspace))['lapses-line-1']).toBe('weigh');
    editClass(
      late.workspace,
      'vent',
      '\ncertificate_policy:',
      `\nplan: { support_until: "2020-01-01" }\n\ncertificate_policy:`,
    );
    expect(weights(await planOf(late.workspace))).not.toHaveProperty('lapses-line-1');
  });

  test('units without a clock and with one, a missing spare root, a staged class without recovery, worn flash', async () => {
    const at = await prepared();
    expect(weights(await planOf(at.workspace))).toMatchObject({
      'no-clock': 'weigh',
      'no-spare-root': 'weigh',
      'trial-keys': 'conflict',
    });
    editClass(at.workspace, 'vent', 'clock: false', 'clock: true');
    expect(weights(await planOf(at.workspace))).not.toHaveProperty('no-clock');
    const deviceClass = await readClass(at.workspace, 'vent');
    await makeSigner(at.workspace, 'brief', { days: 90, classes: [deviceClass] });
    expect(weights(await planOf(at.workspace))).toHaveProperty('short-certificates');
    editClass(
      at.workspace,
      'vent',
      '\ncertificate_policy:',
      '\nplan: { releases_per_year: 366, life_years: 30 }\n\ncertificate_policy:',
    );
    expect(weights(await planOf(at.workspace)).wear).toBe('conflict');
  });

  test('what cannot be built from files: one slot and no recovery, signatures that run out, an envelope that units have no room for', async () => {
    const at = await prepared();
    const deviceClass = await readClass(at.workspace, 'vent');
    const holdings = holdingsOf(at.workspace, deviceClass);
    const [signer] = holdings.signers;
    const leaves = { capacity: 1024n, remaining: 12n, next: 1012n, few: true, witnessed: undefined };
    const own = await weighProfile(
      { workspace: at.workspace, deviceClass, holdings, units: 1, imageBytes: 6000 },
      deviceClass.profile,
    );
    const facts = {
      workspace: at.workspace,
      deviceClass: { ...deviceClass, memory: { ...deviceClass.memory, shape: 'staged' as const } },
      holdings: { ...holdings, signers: [{ ...signer!, leaves }] },
      own: { ...own, weight: { ...own.weight, room: 100 } },
      now: new Date(),
      lifeYears: 10,
      releasesPerYear: 4,
    };
    const found = Object.fromEntries(findingsOf(facts).map((each) => [each.id, each]));
    expect(found['no-recovery']).toMatchObject({
      weight: 'conflict',
      rule: expect.stringContaining('RFC 9019'),
    });
    expect(found['signatures-line-1']).toMatchObject({
      weight: 'weigh',
      says: expect.stringContaining('3.0 years'),
    });
    expect(found['envelope-too-large']).toMatchObject({ weight: 'conflict' });
    const hourly = findingsOf({ ...facts, releasesPerYear: 300 });
    expect(hourly.find(({ id }) => id === 'signatures-line-1')?.weight).toBe('conflict');
  });

  test('one content key for a class, and more recipients than a payload carries', async () => {
    const at = await prepared();
    editClass(at.workspace, 'vent', 'confidentiality: none', 'confidentiality: image\nrecipients: class');
    expect(weights(await planOf(at.workspace))['one-content-key']).toBe('weigh');
    editClass(at.workspace, 'vent', 'recipients: class', 'recipients: units\nplan: { units: 100000 }');
    expect(weights(await planOf(at.workspace))['too-many-recipients']).toBe('conflict');
  });
});

describe('the decision record', () => {
  test('is of its schema, names all eighteen threats of RFC 9124, and leaves room for signatures', async () => {
    const at = await prepared();
    const plan = await planOf(at.workspace);
    expect(trustPlanSchema.parse(JSON.parse(JSON.stringify(plan)))).toEqual(plan);
    expect(plan.threats).toHaveLength(18);
    expect(plan.threats.map(({ section }) => section)).toContain('4.2.18');
    const text = planMarkdown(plan);
    for (const { threat } of plan.threats) expect(text).toContain(`THREAT.${threat}`);
    for (const needed of ['## Signed off', 'security engineer', 'no legal advice'])
      expect(text).toContain(needed);
  });

  test('says what changes with the class: encryption, approvals and several signatures answer threats', async () => {
    const at = await prepared();
    const cover = async (threat: string) =>
      (await planOf(at.workspace)).threats.find((row) => row.threat === threat)?.cover;
    expect([await cover('IMG.DISCLOSURE'), await cover('UPD.UNAPPROVED')]).toEqual([
      'not covered',
      'in part',
    ]);
    editClass(at.workspace, 'vent', 'confidentiality: none', 'confidentiality: both');
    const policy =
      'authentication: { rule: all, roles: [{ role: author }, { role: approver }] }\n\ncertificate_policy:';
    editClass(at.workspace, 'vent', '\ncertificate_policy:', `\n${policy}`);
    for (const threat of ['IMG.DISCLOSURE', 'MFST.EXPOSURE', 'UPD.UNAPPROVED'])
      expect(await cover(threat)).toBe('covered');
  });

  test('a hostile text in the class file neither ends a cell nor becomes markup', async () => {
    const at = await prepared();
    const plan = await planOf(at.workspace);
    const text = planMarkdown({
      ...plan,
      model: 'VC | <script>alert(1)</script> [x](http://e)\n# not a heading',
    });
    expect(text).toContain('VC \\| \\<script\\>alert(1)\\</script\\> \\[x\\](http://e) # not a heading');
    expect(text.split('\n').filter((line) => line.startsWith('# '))).toHaveLength(1);
  });

  test('for a symmetric class without keys yet there is a plan too', async () => {
    const at = await prepared();
    writeFileSync(at.image, firmware(6000, 1));
    const { addClass } = await import('../../src/workspace/index.ts');
    await addClass(at.workspace, { name: 'bare', model: 'B-1', scheme: 'symmetric' });
    const plan = await planOf(at.workspace, 'bare');
    expect(plan.choices.find(({ choice }) => choice === 'custody')?.chosen).toBe('no keys yet');
    const place = (name: string) => filePlace(at.workspace, name);
    await createClassKey(at.workspace, await readClass(at.workspace, 'bare'), place, nobody, secrets);
    const held = await planOf(at.workspace, 'bare');
    expect(held.choices.find(({ choice }) => choice === 'custody')?.chosen).toBe('bare: file');
  });
});
