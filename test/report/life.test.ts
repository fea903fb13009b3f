/** Reports of a real unit over its flash: what it decided, how it started, what it kept ([RPT] 3, 4). */
import { beforeEach, describe, expect, it } from 'vitest';
import { fromHex, sourceOf, toHex } from '../../src/bytes/index.ts';
import { explainRecord } from '../../src/report/explain.ts';
import {
  outcomeOf,
  outcomeTold,
  readManifestOf,
  readReport,
  rememberUnit,
  reportAbout,
  reportOfInstall,
  reportOfKeep,
  reportOfStart,
  reportOfState,
  type SuitRecord,
  type SuitReport,
  writeReport,
} from '../../src/report/index.ts';
import { COMMANDS, openEnvelope, parseUuid } from '../../src/suit/index.ts';
import {
  beginLife,
  createUnitFile,
  type EmulatedFlash,
  memoryStore,
  openUnit,
  type Unit,
  type UnitFile,
  type UnitRecord,
  type UnitView,
  unitFileLayout,
} from '../../src/unit/index.ts';
import {
  DEVICE,
  imageOf,
  makerChain,
  OTHER_CLASS,
  type Release,
  release,
  signedBy,
  unitOf,
  VENT,
} from '../unit/maker.ts';
import { sealedRaw } from '../unit/raw-release.ts';
import { seededNoise } from '../unit-life/noise.ts';

const chain = await makerChain();
const seal = signedBy(chain);
const MARKS_KEY = fromHex('5a'.repeat(32));
const URI = 'urn:uuid:5e2a5b5c-7d0f-5d55-9a3e-0d7d5a3c1b11';
const sealed = (sequenceNumber: number, more: Partial<Parameters<typeof release>[0]> = {}) =>
  release({ seal, sequenceNumber, referenceUri: URI, images: [imageOf(3000, sequenceNumber)], ...more });
const first = await sealed(1);
const second = await sealed(2);

interface Bench {
  readonly unit: Unit;
  readonly flash: EmulatedFlash;
  readonly file: UnitFile;
}

function benchOf(view: UnitView): Bench {
  const record: UnitRecord = view.record;
  const store = memoryStore(unitFileLayout(record.memory).size);
  const file = createUnitFile(store, { record, marksKey: { trial_hex: toHex(MARKS_KEY) } });
  const flash = file.flash({ noise: seededNoise(1) });
  beginLife(record, flash, MARKS_KEY);
  const { macKeys } = view;
  const unit = openUnit({ record, macKeys, marksKey: MARKS_KEY, flash, memory: file.memory });
  return { unit, flash, file };
}

let bench: Bench;
beforeEach(() => {
  bench = benchOf(unitOf(chain));
});

const memory = () => rememberUnit(bench.unit, bench.flash, bench.file.memory.running);
const install = (envelope: Uint8Array, image?: Uint8Array): SuitReport => {
  const offered = sourceOf(envelope);
  const result = bench.unit.install({ envelope: offered, image: image && sourceOf(image) });
  return readBack(reportOfInstall(result, offered, memory()));
};
const start = (): SuitReport => {
  const before = memory();
  return readBack(reportOfStart(bench.unit.start(), before));
};
const keep = (): SuitReport => readBack(reportOfKeep(bench.unit.keep(), memory()));

/** What is written is what a stranger reads. */
function readBack(report: SuitReport): SuitReport {
  expect(readReport(writeReport(report))).toEqual(report);
  return report;
}

const manifestOf = ({ envelope }: Pick<Release, 'envelope'>) =>
  readManifestOf(openEnvelope(sourceOf(envelope)));
const refusalIn = (report: SuitReport) => outcomeTold(report).refusal?.code;
const recordIn = ({ result }: SuitReport): SuitRecord => {
  if (result === true) throw new Error('a success has no record');
  return result.record;
};

describe('[RPT] 4.2: no success before the image was kept', () => {
  it('install: pending, at the invoke directive of the manifest', () => {
    const report = install(first.envelope);
    expect(report.result).toMatchObject({ code: 0, reason: 12 });
    expect(report.reference).toEqual({ uri: URI, digest: { algorithm: -16, bytes: first.manifestDigest } });
    expect(explainRecord(recordIn(report), manifestOf(first), 'result')).toEqual({
      ok: true,
      section: 'invoke',
      command: 'directive-invoke',
    });
  });

  it('ready, on trial, kept: the start and the keep tell it, and so does the unit when asked', () => {
    install(first.envelope);
    expect(outcomeTold(reportOfState(memory())).result).toBe('pending');
    expect(outcomeTold(start()).result).toBe('pending');
    expect(outcomeTold(reportOfState(memory())).result).toBe('pending');
    expect(keep().result).toBe(true);
    expect(reportOfState(memory()).result).toBe(true);
    expect(start().result).toBe(true);
  });

  it('[RPT] 4.1: what was measured of the component: slot, size, digest', () => {
    const installed = install(first.envelope);
    start();
    const kept = keep();
    for (const { records } of [installed, kept]) {
      expect(records).toHaveLength(1);
      const [claim] = records;
      expect(claim!.properties.get(14)).toBe(3000);
      expect(claim!.properties.get(3)!.bytes).toEqual(manifestImage(first));
      expect(claim!.properties.get(5)).toBe(0);
    }
  });

  it('the same release again: what the unit remembers of it', () => {
    install(first.envelope);
    start();
    expect(outcomeTold(install(first.envelope)).result).not.toBe('success');
    keep();
    expect(install(first.envelope).result).toBe(true);
  });

  it('a detached image that is not there: unfinished', async () => {
    const detached = await sealed(1, { detached: true });
    const report = install(detached.envelope);
    expect(outcomeTold(report).result).toBe('unfinished');
    expect(explainRecord(recordIn(report), manifestOf(detached), 'result')).toMatchObject({
      command: 'directive-fetch',
    });
  });
});

describe('[RPT] 3: where it failed, and what the unit has instead', () => {
  it.each([
    ['class-wrong', { classId: OTHER_CLASS }, 2, VENT],
    ['device-wrong', { deviceId: VENT }, 24, DEVICE],
  ] as const)('%s', async (code, changes, parameter, actual) => {
    const wrong = await sealed(1, changes);
    const report = install(wrong.envelope);
    expect(refusalIn(report)).toBe(code);
    expect(recordIn(report).properties.get(parameter)).toEqual(actual);
    expect(recordIn(report).section).toBe(3);
    expect(explainRecord(recordIn(report), manifestOf(wrong), 'list')).toMatchObject({
      ok: true,
      section: 'shared',
      command: COMMANDS.get(parameter)!.name,
    });
  });

  it('vendor-wrong', async () => {
    const wrong = await sealed(1, { vendorId: OTHER_CLASS });
    const report = install(wrong.envelope);
    expect(refusalIn(report)).toBe('vendor-wrong');
    expect(recordIn(report).properties.get(1)).toEqual(parseUuid(bench.unit.record.vendor_id));
  });

  it('image-digest-wrong: at the condition that compares it, with the digest read back', async () => {
    const wrong = await sealed(1, { payloads: [imageOf(3000, 99)] });
    const report = install(wrong.envelope);
    expect(refusalIn(report)).toBe('image-digest-wrong');
    expect(explainRecord(recordIn(report), manifestOf(wrong), 'list')).toEqual({
      ok: true,
      section: 'install',
      command: 'condition-image-match',
    });
    const found = recordIn(report).properties.get(3)!.bytes;
    expect(found).not.toEqual(manifestImage(wrong));
    expect(found).toHaveLength(32);
  });

  it('image-length-wrong: with the length at hand', async () => {
    const wrong = await sealed(1, { payloads: [imageOf(2999, 1)] });
    const report = install(wrong.envelope);
    expect(refusalIn(report)).toBe('image-length-wrong');
    expect(recordIn(report).properties.get(14)).toBe(2999);
  });

  it('an image that is not kept falls back; the report is about the one that fell, and says what runs', () => {
    install(first.envelope);
    start();
    keep();
    install(second.envelope);
    start();
    const report = start();
    expect(refusalIn(report)).toBe('trial-ran-out');
    expect(report.reference.digest.bytes).toEqual(second.manifestDigest);
    expect(report.records[0]!.properties.get(3)!.bytes).toEqual(manifestImage(first));
    expect(refusalIn(reportAbout(memory(), second.manifestDigest)!)).toBe('trial-ran-out');
    expect(reportOfState(memory()).reference.digest.bytes).toEqual(first.manifestDigest);
    expect(reportAbout(memory(), fromHex('00'.repeat(32)))).toBeUndefined();
  });
});

describe('[RPT] 4: which manifest, as far as the unit may know', () => {
  it('the URI of a manifest that nobody vouches for is never read', async () => {
    const other = signedBy(await makerChain());
    const foreign = await sealed(1, { seal: other });
    const report = install(foreign.envelope);
    expect(refusalIn(report)).toBe('signer-not-anchored');
    expect(report.reference).toEqual({ uri: '', digest: { algorithm: -16, bytes: foreign.manifestDigest } });
    expect(recordIn(report).section).toBe(0);
  });

  it.each([
    ['nothing at all', new Uint8Array()],
    ['text', new TextEncoder().encode('firmware')],
    ['half an envelope', first.envelope.subarray(0, 100)],
  ])('%s: there is no manifest to name', (_name, bytes) => {
    const report = install(bytes);
    expect(report.reference).toEqual({ uri: '', digest: { algorithm: -16, bytes: new Uint8Array() } });
    expect(report.result).toMatchObject({ reason: 1 });
  });

  it('a manifest without reference URI leaves it empty', async () => {
    const plain = await sealed(1, { referenceUri: undefined });
    expect(install(plain.envelope).reference).toEqual({
      uri: '',
      digest: { algorithm: -16, bytes: plain.manifestDigest },
    });
  });

  it('an empty unit, and one whose marks are gone', () => {
    expect(refusalIn(start())).toBe('nothing-to-start');
    expect(refusalIn(reportOfState(memory()))).toBe('nothing-to-start');
    const { state } = bench.unit.layout;
    bench.flash.erase(state.offset, state.size);
    const { record } = bench.unit;
    const unit = openUnit({ record, macKeys: new Map(), marksKey: MARKS_KEY, flash: bench.flash });
    bench = { ...bench, unit };
    expect(refusalIn(reportOfState(memory()))).toBe('marks-unreadable');
    expect(refusalIn(start())).toBe('marks-unreadable');
  });
});

describe('[RPT] 4.2, 6: capabilities', () => {
  it('unasked where a manifest asks for what the unit lacks', async () => {
    const envelope = await sealedRaw(seal, { validate: [31, 0] });
    const report = install(envelope);
    expect(report.result).toMatchObject(outcomeOf('command-unsupported'));
    const commands = report.capabilities!.lists.find(({ key }) => key === 2)!.codes;
    expect(commands).toContain(3);
    expect(commands).not.toContain(31);
  });

  it('not otherwise, unless they are asked for', () => {
    expect(install(first.envelope).capabilities).toBeUndefined();
    const asked = reportOfState(memory(), { capabilities: true }).capabilities!;
    expect(asked.lists.find(({ key }) => key === 3)!.codes).toContain(19);
    expect(asked.lists.find(({ key }) => key === 4)!.codes).toEqual([-16, -9, -29, -65534]);
  });
});

describe('[RPT] 5: records that no processor of this manifest can have made', () => {
  const manifest = manifestOf(first);
  const record: SuitRecord = {
    kind: 'record',
    manifestId: [],
    section: 7,
    offset: 1,
    component: 0,
    properties: new Map() as SuitRecord['properties'],
  };
  const { start: base, commands } = (
    manifest.sequences.get('install') as { value: NonNullable<typeof manifest.shared> }
  ).value;

  it.each([
    ['an unknown section', { section: 1 }],
    ['a sequence that the manifest does not have', { section: 8 }],
    ['an offset at which no command begins', { offset: 2 }],
    ['the head of the array, before the first command', { offset: 0 }],
    ['a component that is not listed', { component: 5 }],
  ])('%s', (_name, changes) => {
    expect(explainRecord({ ...record, ...changes }, manifest, 'list').ok).toBe(false);
  });

  it('a directive without a policy that asks for a record, unless it is what ended the procedure', () => {
    const setParameters = { ...record, section: 20, offset: commands[0]!.offset - base };
    expect(commands[0]!.row.name).toContain('parameters');
    expect(explainRecord(setParameters, manifest, 'list').ok).toBe(false);
    expect(explainRecord(setParameters, manifest, 'result').ok).toBe(true);
  });
});

describe('a unit with a staging area', () => {
  it('what waits in staging is not measured; the start measures what it moved in, under the right manifest', async () => {
    bench = benchOf(unitOf(chain, { shape: 'staged' }));
    const staged = await Promise.all([1, 2].map((number) => sealed(number, { shape: 'staged' })));
    for (const each of staged) {
      const installed = install(each.envelope);
      expect(outcomeTold(installed).result).toBe('pending');
      expect(installed.records).toEqual([]);
      expect(reportAbout(memory(), each.manifestDigest)!.records).toEqual([]);
      const started = start();
      expect(started.reference.digest.bytes).toEqual(each.manifestDigest);
      expect(started.records[0]!.properties.get(5)).toBe(0);
      expect(keep().reference.digest.bytes).toEqual(each.manifestDigest);
    }
  });
});

describe('the age of a unit', () => {
  it('rises with every mark that is written, over full banks too, and is found again', () => {
    let last = bench.unit.age();
    for (let number = 0; number < 40; number++) {
      bench.unit.raiseFloors({ signerGeneration: 0 });
      bench.unit.install({ envelope: sourceOf(number % 2 === 0 ? first.envelope : second.envelope) });
      const { record } = bench.unit;
      const unit = openUnit({
        record,
        macKeys: new Map(),
        marksKey: MARKS_KEY,
        flash: bench.flash,
        memory: bench.file.memory,
      });
      bench = { ...bench, unit };
      bench.unit.start();
      const age = bench.unit.age();
      expect(age).toBeGreaterThanOrEqual(last);
      last = age;
    }
    expect(last).toBeGreaterThan(0);
  });
});

function manifestImage({ envelope }: Pick<Release, 'envelope'>): Uint8Array {
  const manifest = manifestOf({ envelope });
  const override = manifest.shared!.commands.find(({ argument }) => argument.type === 'parameters')!;
  if (override.argument.type !== 'parameters') throw new TypeError('no parameters');
  return override.argument.values.get(3)!.bytes;
}
