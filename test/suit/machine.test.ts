import { describe, expect, test } from 'vitest';
import { fromUtf8 } from '../../src/bytes/index.ts';
import {
  type CommandDescription,
  command,
  override,
  type SequenceDescription,
  setIndex,
  tryEach,
} from '../../src/suit/description.ts';
import {
  type ComponentIdentifier,
  INVOCATION_PROCEDURE,
  type Manifest,
  type Outcome,
  type ProcessorHost,
  readManifest,
  runSequences,
  type SectionName,
  SUIT_LIMITS,
  UPDATE_PROCEDURE,
  writeManifest,
} from '../../src/suit/index.ts';

const runSequence = (...sequence: SequenceDescription): CommandDescription => ({
  code: 32,
  argument: { type: 'sequence', sequence },
});
const orElse = (...branches: SequenceDescription[]): CommandDescription => ({
  code: 15,
  argument: { type: 'branches', branches, mayFail: true },
});
const fetchFrom = (uri: string): SequenceDescription => [override({ 21: uri }), command(21, 0)];
const slotIs = (slot: number): SequenceDescription => [override({ 5: slot }), command(5, 0)];
const invoke = command(23, 0);
const abort = command(14, 0);

interface Made {
  components?: number;
  shared?: SequenceDescription;
  sections?: Partial<Record<SectionName, SequenceDescription>>;
}

function make({ components = 1, shared = [], sections = {} }: Made): Manifest {
  const identifiers: ComponentIdentifier[] = Array.from({ length: components }, (_, i) => [
    fromUtf8(`part-${i}`),
  ]);
  const { manifest } = writeManifest({
    sequenceNumber: 1,
    components: identifiers,
    shared,
    sequences: new Map(Object.entries(sections) as [SectionName, SequenceDescription][]),
    sever: [],
  });
  return readManifest(manifest);
}

/** A host that notes each call, is in slot 1, and fails the codes it is told to. */
function hostThat(fails: readonly number[] = []): ProcessorHost & { readonly log: string[] } {
  const log: string[] = [];
  const judge = (code: number, index: number, uri: unknown): Outcome => {
    log.push(uri === undefined ? `${code}@${index}` : `${code}@${index} ${uri}`);
    return fails.includes(code) ? { ok: false, reason: 'no', detail: `host refused ${code}` } : { ok: true };
  };
  return {
    log,
    condition: (code, component, parameters) => {
      const outcome = judge(code, component.index, undefined);
      if (code !== 5) return outcome;
      return parameters.get(5) === 1 ? outcome : { ok: false, reason: 'slot', detail: 'the other slot' };
    },
    directive: (code, component, parameters) =>
      judge(code, component.index, code === 21 ? parameters.get(21) : undefined),
  };
}

function run(made: Made, host = hostThat(), procedure: Parameters<typeof runSequences>[1] = 'install') {
  return { outcome: runSequences(make(made), procedure, host), log: host.log };
}

const only = (...install: SequenceDescription): Made => ({ sections: { install } });

describe('[M] 8.4.6: procedures', () => {
  const shared = [override({ 1: new Uint8Array(16) }), command(1, 15)];

  test('the shared sequence runs before each section', () => {
    const host = hostThat();
    const sections = { install: fetchFrom('#a'), validate: [invoke] };
    expect(run({ shared, sections }, host, UPDATE_PROCEDURE).outcome).toEqual({ ok: true });
    expect(host.log).toEqual(['1@0', '1@0', '21@0 #a', '1@0', '23@0']);
  });

  test('a section that is not there does nothing', () => {
    expect(run(only(invoke), hostThat(), 'load')).toEqual({ outcome: { ok: true }, log: [] });
    expect(run({ shared }, hostThat(), 'shared').log).toEqual(['1@0']);
  });

  test('6.1: parameters begin empty in each procedure and last through its sections', () => {
    const sections = { 'payload-fetch': [override({ 21: '#a' })], install: [command(21, 0)] };
    expect(run({ sections }, hostThat(), ['payload-fetch', 'install']).outcome).toEqual({ ok: true });
    expect(run({ sections }, hostThat(), 'install').outcome).toMatchObject({ reason: 'parameter-missing' });
    expect(INVOCATION_PROCEDURE).toEqual(['validate', 'load', 'invoke']);
  });

  test('5.4: a severed section that is absent fails, it is not an empty one', () => {
    const long = fetchFrom('https://depot.hollinridge.example/firmware/vent/image.bin');
    const { manifest } = writeManifest({
      sequenceNumber: 1,
      components: [[fromUtf8('main')]],
      shared: [],
      sequences: new Map([['install', long]]),
      sever: ['install'],
    });
    expect(runSequences(readManifest(manifest), 'install', hostThat())).toMatchObject({
      reason: 'section-absent',
    });
  });
});

describe('[M] 6.4: commands', () => {
  test('8.4.9: a condition whose parameter is unset fails and is not asked', () => {
    const { outcome, log } = run(only(command(3, 15)));
    expect(outcome).toMatchObject({
      ok: false,
      reason: 'parameter-missing',
      at: { section: 'install', code: 3 },
    });
    expect(log).toEqual([]);
  });

  test('8.4.8: parameters belong to their component', () => {
    const install = [setIndex(0), override({ 21: '#a' }), setIndex(1), command(21, 0)];
    expect(run({ components: 2, sections: { install } }).outcome).toMatchObject({
      reason: 'parameter-missing',
      at: { component: 1 },
    });
  });

  test('8.4.10.3: override replaces what was set', () => {
    expect(run(only(override({ 21: '#a' }), ...fetchFrom('#b'))).log).toEqual(['21@0 #b']);
  });

  test('8.4.9.5: abort always fails', () => {
    expect(run(only(abort, invoke))).toMatchObject({ outcome: { ok: false, reason: 'abort' }, log: [] });
  });

  test("a failed command ends the procedure with its place and the host's reason", () => {
    const { outcome, log } = run(only(...fetchFrom('#a'), invoke), hostThat([21]));
    expect(outcome).toMatchObject({
      ok: false,
      reason: 'no',
      at: { section: 'install', code: 21, component: 0 },
    });
    expect(log).toEqual(['21@0 #a']);
  });
});

describe('[M] 6.5: component index', () => {
  const three = (...install: SequenceDescription): Made => ({ components: 3, sections: { install } });

  test('true runs a command for every component in order', () => {
    expect(run(three(setIndex(true), invoke)).log).toEqual(['23@0', '23@1', '23@2']);
  });

  test('a list runs a command for each listed, in the order of the list', () => {
    expect(run(three(setIndex([2, 0]), invoke)).log).toEqual(['23@2', '23@0']);
  });

  test('override with a list sets each of them', () => {
    expect(run(three(setIndex(true), ...fetchFrom('#x'))).log).toEqual(['21@0 #x', '21@1 #x', '21@2 #x']);
  });

  test('run-sequence and try-each see single integers, the whole sequence once per component', () => {
    expect(
      run(three(setIndex([0, 2]), runSequence(invoke, command(25, 0)), invoke), hostThat()).outcome,
    ).toMatchObject({
      reason: 'parameter-missing',
    });
    const { log } = run(
      three(setIndex([0, 2]), runSequence(invoke, invoke), tryEach([abort], [invoke]), invoke),
    );
    expect(log).toEqual(['23@0', '23@0', '23@2', '23@2', '23@0', '23@2', '23@0', '23@2']);
  });

  test('set-component-index inside a looped sequence does not move the loop', () => {
    expect(run(three(setIndex([0, 2]), runSequence(setIndex(1), invoke), invoke)).log).toEqual([
      '23@1',
      '23@1',
      '23@0',
      '23@2',
    ]);
  });

  test('each branch of try-each begins at the component it was called for', () => {
    const branches = tryEach([setIndex(true), abort], [invoke]);
    expect(run(three(setIndex(2), branches)).log).toEqual(['23@2']);
  });
});

describe('[M] 8.4.10.2 and 8.4.8.15: try-each and soft failure', () => {
  test('7.7: the branch of the slot decides; the rest follows once', () => {
    const install = [
      tryEach([...slotIs(0), override({ 21: '#a' })], [...slotIs(1), override({ 21: '#b' })]),
      command(21, 2),
    ];
    expect(run(only(...install)).log).toEqual(['5@0', '5@0', '21@0 #b']);
  });

  test('no branch succeeds: the last failure is the answer', () => {
    expect(run(only(tryEach(slotIs(0), slotIs(2)))).outcome).toMatchObject({ ok: false, reason: 'slot' });
  });

  test('nil at the end: no branch need succeed', () => {
    expect(run(only(orElse(slotIs(0), slotIs(2)), invoke)).log).toEqual(['5@0', '5@0', '23@0']);
  });

  test('6.4: a failed directive aborts, whatever soft failure says', () => {
    const { outcome, log } = run(only(orElse(fetchFrom('#a'), [invoke])), hostThat([21]));
    expect(outcome).toMatchObject({ ok: false, reason: 'no' });
    expect(log).toEqual(['21@0 #a']);
  });

  test('soft failure false in a branch: a failed condition aborts', () => {
    expect(run(only(orElse([override({ 13: false }), ...slotIs(0)], [invoke])))).toMatchObject({
      outcome: { ok: false, reason: 'slot' },
      log: ['5@0'],
    });
  });

  test('soft failure begins true again in the next branch and does not reach nested sequences', () => {
    const nested = tryEach([override({ 13: false }), tryEach([abort], [invoke])], [abort]);
    expect(run(only(nested)).log).toEqual(['23@0']);
  });

  test.each([
    ['true', true],
    ['false', false],
  ])('set to %s outside try-each and run-sequence: abort', (_name, soft) => {
    expect(run(only(override({ 13: soft }), invoke))).toMatchObject({
      outcome: { ok: false, reason: 'abort' },
      log: [],
    });
  });

  test('8.4.10.8: run-sequence begins with soft failure false', () => {
    expect(run(only(runSequence(abort), invoke))).toMatchObject({ outcome: { ok: false }, log: [] });
  });

  test('8.4.10.8: with soft failure true a failed condition only halts the sequence', () => {
    const { outcome, log } = run(only(runSequence(override({ 13: true }), abort, invoke), command(23, 0)));
    expect(outcome).toEqual({ ok: true });
    expect(log).toEqual(['23@0']);
  });

  test('8.4.10.8: a directive that fails inside run-sequence aborts, soft or not', () => {
    const soft = runSequence(override({ 13: true, 21: '#a' }), command(21, 0));
    expect(run(only(soft, invoke), hostThat([21])).outcome).toMatchObject({ ok: false, reason: 'no' });
  });

  test('8.4.10.8: run-sequence forwards a failed condition to an enclosing try-each', () => {
    expect(run(only(tryEach([runSequence(abort)], [invoke]))).log).toEqual(['23@0']);
  });

  test('parameters of a failed branch stay set: the draft states no roll-back', () => {
    expect(run(only(orElse([override({ 21: '#a' }), abort], [abort]), command(21, 0))).log).toEqual([
      '21@0 #a',
    ]);
  });
});

describe('[M] 6.7: strict order', () => {
  const two = (...install: SequenceDescription): Made => ({ components: 2, sections: { install } });

  test('a component both target and source while order is not strict: abort', () => {
    const race = [
      setIndex(1),
      override({ 12: false, 21: '#a' }),
      command(21, 0),
      setIndex(0),
      override({ 22: 1 }),
    ];
    expect(run(two(...race, command(22, 0)))).toMatchObject({
      outcome: { ok: false, reason: 'abort', at: { code: 22, component: 0 } },
      log: ['21@1 #a'],
    });
    const ordered = [...race.slice(0, 3), override({ 12: true }), ...race.slice(3)];
    expect(run(two(...ordered, command(22, 0))).outcome).toEqual({ ok: true });
  });

  test('run-sequence out of order begins with set-component-index and has no other', () => {
    const loose = override({ 12: false });
    expect(run(two(setIndex(0), loose, runSequence(setIndex(1), invoke), invoke)).log).toEqual([
      '23@1',
      '23@0',
    ]);
    expect(run(two(setIndex(0), loose, runSequence(invoke))).outcome).toMatchObject({ reason: 'abort' });
    const twice = runSequence(setIndex(1), setIndex(0), invoke);
    expect(run(two(setIndex(0), loose, twice)).outcome).toMatchObject({ reason: 'abort' });
    const looped = runSequence(setIndex(1), invoke);
    expect(run(two(setIndex(true), loose, looped)).outcome).toMatchObject({ reason: 'abort' });
  });
});

describe('bounded work', () => {
  test('loops within loops stop at the stated number of steps', () => {
    let inner: CommandDescription = invoke;
    for (let depth = 0; depth < SUIT_LIMITS.sequenceDepth; depth++)
      inner = runSequence(setIndex(true), inner);
    const { outcome, log } = run({ components: 16, sections: { install: [setIndex(true), inner] } });
    expect(outcome).toMatchObject({ ok: false, reason: 'too-many-steps' });
    expect(log.length).toBeLessThanOrEqual(SUIT_LIMITS.steps);
  });
});
