/** What the machine does with dependencies: draft-ietf-suit-trust-domains sections 5.1 to 5.6. */
import fc from 'fast-check';
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
  ALL_EXTENSIONS,
  accessOf,
  type ComponentIdentifier,
  DEPENDENT_UPDATE_PROCEDURE,
  type Manifest,
  type Outcome,
  type ParameterTypes,
  type ProcessorHost,
  readManifest,
  runSequences,
  type SectionName,
  SUIT_LIMITS,
  withDependencies,
  writeManifest,
} from '../../src/suit/index.ts';

const DIGEST = { algorithm: -16, bytes: new Uint8Array(32).fill(1) };
const id = (text: string): ComponentIdentifier => text.split('/').map(fromUtf8);
const text = (identifier: ComponentIdentifier): string =>
  identifier.map((segment) => Buffer.from(segment).toString()).join('/');

const set = (values: Partial<ParameterTypes>): CommandDescription => ({
  code: 19,
  argument: { type: 'parameters', values },
});
const runSequence = (...sequence: SequenceDescription): CommandDescription => ({
  code: 32,
  argument: { type: 'sequence', sequence },
});
const integrity = command(7, 0);
const process = command(11, 0);
const isDependency = command(8, 0);
const invoke = command(23, 0);
const abort = command(14, 0);
const fetch = command(21, 0);
const checked = [override({ 3: DIGEST }), integrity];

type Sections = Partial<Record<SectionName, SequenceDescription>>;
interface Made {
  components?: string[];
  /** Prefix of each dependency by index; '' for none. */
  dependencies?: Record<number, string>;
  shared?: SequenceDescription;
  sections?: Sections;
}

function make({ components = ['main'], dependencies, shared = [], sections = {} }: Made): Manifest {
  const { manifest } = writeManifest({
    sequenceNumber: 1,
    components: components.map(id),
    ...(dependencies && {
      dependencies: new Map(
        Object.entries(dependencies).map(([index, prefix]) => [
          Number(index),
          prefix === '' ? {} : { prefix: id(prefix) },
        ]),
      ),
    }),
    shared,
    sequences: new Map(Object.entries(sections) as [SectionName, SequenceDescription][]),
    sever: [],
  });
  return readManifest(manifest, { extensions: ALL_EXTENSIONS });
}

interface Noted extends ProcessorHost {
  readonly log: string[];
}

/** Notes every call as "code@component" with the URI, and gives manifests by the name of their component. */
function hostOf(manifests: Record<string, Manifest>, fails: readonly number[] = []): Noted {
  const log: string[] = [];
  const note: ProcessorHost['condition'] = (code, component, parameters): Outcome => {
    const uri = parameters.get(21);
    log.push(`${code}@${text(component.identifier)}${uri ? ` ${uri}` : ''}`);
    return fails.includes(code) ? { ok: false, reason: 'no', detail: `host refused ${code}` } : { ok: true };
  };
  return {
    log,
    condition: note,
    directive: note,
    dependency: (component) => {
      const manifest = manifests[text(component.identifier)];
      log.push(`7@${text(component.identifier)}`);
      return manifest ? { ok: true, manifest } : { ok: false, reason: 'forged', detail: 'not authentic' };
    },
  };
}

/** A root with one component "main" and one dependency "radio", which is index 1. */
const root = (install: SequenceDescription, more: Made = {}): Manifest =>
  make({ dependencies: { 1: 'radio' }, sections: { install: [setIndex(1), ...install] }, ...more });
const radio = make({ components: ['modem'], sections: { install: [override({ 21: '#modem' }), fetch] } });

function run(
  manifest: Manifest,
  host = hostOf({ radio }),
  procedure: SectionName | SectionName[] = 'install',
) {
  return { outcome: runSequences(manifest, procedure, host), log: host.log };
}

describe('[TD] 5.6.2: process-dependency', () => {
  test("runs the dependency's section of the same name, and then what follows it", () => {
    expect(run(root([...checked, process, setIndex(0), invoke]))).toEqual({
      outcome: { ok: true },
      log: ['7@radio', '21@modem #modem', '23@main'],
    });
  });

  test('runs the shared sequence of the dependency first', () => {
    const shared = [override({ 1: new Uint8Array(16) }), command(1, 0)];
    const other = make({ components: ['modem'], shared, sections: { install: [invoke] } });
    expect(run(root([...checked, process]), hostOf({ radio: other })).log).toEqual([
      '7@radio',
      '1@modem',
      '23@modem',
    ]);
  });

  test('a dependency without the section: succeeds at once, its shared sequence does not run', () => {
    const other = make({ components: ['modem'], shared: [abort], sections: { validate: [invoke] } });
    expect(run(root([...checked, process]), hostOf({ radio: other })).outcome).toEqual({ ok: true });
  });

  test('no dependency-integrity before it: abort', () => {
    expect(run(root([override({ 3: DIGEST }), process])).outcome).toMatchObject({
      reason: 'dependency-unchecked',
      at: { code: 11, component: 1 },
    });
  });

  test('a component that is no dependency: abort, also in try-each', () => {
    const install = [setIndex(0), tryEach([process], [invoke])];
    expect(run(root(install)).outcome).toMatchObject({ reason: 'not-a-dependency', at: { component: 0 } });
  });

  test('5.6.4: a fetch, copy or write onto the dependency undoes the check', () => {
    for (const overwrite of [
      [override({ 21: '#other' }), fetch],
      [override({ 18: new Uint8Array(1) }), command(18, 0)],
      [override({ 22: 0 }), command(22, 0)],
    ]) {
      expect(run(root([...checked, ...overwrite, process])).outcome).toMatchObject({
        reason: 'dependency-unchecked',
      });
    }
  });

  test('the check lasts through the sections of one procedure and not into the next', () => {
    const manifest = make({
      dependencies: { 1: 'radio' },
      sections: {
        'dependency-resolution': [setIndex(1), ...checked],
        install: [setIndex(1), process],
      },
    });
    expect(run(manifest, hostOf({ radio }), ['dependency-resolution', 'install']).outcome).toEqual({
      ok: true,
    });
    expect(run(manifest).outcome).toMatchObject({ reason: 'dependency-unchecked' });
  });

  test('index true: all dependencies and nothing else', () => {
    const manifest = make({
      dependencies: { 1: 'radio', 2: 'display' },
      sections: { install: [setIndex([1, 2]), ...checked, setIndex(true), process] },
    });
    expect(run(manifest, hostOf({ radio, display: radio })).log).toEqual([
      '7@radio',
      '7@display',
      '21@modem #modem',
      '21@modem #modem',
    ]);
  });

  test('in the shared sequence: refused before anything runs', () => {
    expect(() => make({ dependencies: { 1: 'radio' }, shared: [setIndex(1), process] })).toThrow(
      /shared sequence/,
    );
  });

  test('the state of the dependent is what it was: index, section, strict order', () => {
    const other = make({
      components: ['modem', 'more'],
      sections: { install: [setIndex([0, 1]), override({ 12: false }), invoke] },
    });
    const race = [setIndex(0), override({ 21: '#a', 22: 1 }), fetch, command(22, 0), setIndex(1), fetch];
    const manifest = root([...checked, override({ 21: '#r' }), process, fetch, ...race]);
    expect(run(manifest, hostOf({ radio: other }))).toEqual({
      outcome: { ok: true },
      log: ['7@radio', '23@modem', '23@more', '21@radio #r', '21@main #a', '22@main #a', '21@radio #r'],
    });
  });

  test('5.6.4: a write by the root onto what a dependency has checked undoes that check too', () => {
    const middle = make({
      components: ['modem'],
      dependencies: { 1: 'inner' },
      sections: { 'payload-fetch': [setIndex(1), ...checked], install: [setIndex(1), process] },
    });
    const manifest = (between: SequenceDescription) =>
      make({
        components: ['main', 'inner'],
        dependencies: { 2: 'radio' },
        sections: {
          'payload-fetch': [setIndex(2), ...checked, process, setIndex(1), ...between],
          install: [setIndex(2), process],
        },
      });
    const host = () => hostOf({ radio: middle, inner: make({ components: ['x'] }) });
    const procedure: SectionName[] = ['payload-fetch', 'install'];
    expect(run(manifest([invoke]), host(), procedure).outcome).toEqual({ ok: true });
    const overwritten = manifest([override({ 21: '#other' }), fetch]);
    expect(run(overwritten, host(), procedure).outcome).toMatchObject({ reason: 'dependency-unchecked' });
  });
});

describe('[TD] 5.6.2: how a dependency ends', () => {
  const failing = (install: SequenceDescription) => make({ components: ['modem'], sections: { install } });
  const orElse = (manifest: Manifest, fails: number[] = []) =>
    run(root([...checked, tryEach([process], [setIndex(0), invoke])]), hostOf({ radio: manifest }, fails));

  test('a failed condition stays one: an enclosing try-each goes on', () => {
    expect(orElse(failing([abort])).log).toEqual(['7@radio', '23@main']);
  });

  test('a failed directive is an abort in the dependent too, with its place', () => {
    expect(orElse(radio, [21]).outcome).toMatchObject({
      reason: 'no',
      at: { section: 'install', code: 21, component: 0, dependency: [1] },
    });
  });

  test('5.6.4: a failed integrity check aborts, though it is a condition', () => {
    const install = [override({ 3: DIGEST }), tryEach([integrity], [setIndex(0), invoke])];
    expect(run(root(install), hostOf({}))).toMatchObject({ outcome: { reason: 'forged' }, log: ['7@radio'] });
  });

  test('a host that takes no dependencies refuses', () => {
    const { condition, directive } = hostOf({});
    expect(runSequences(root(checked), 'install', { condition, directive })).toMatchObject({
      reason: 'not-a-dependency',
    });
  });
});

describe('[TD] 5.6.3 and 8.4: is-dependency', () => {
  const each = (first: SequenceDescription, ...otherwise: SequenceDescription[]): CommandDescription => ({
    code: 15,
    argument: { type: 'branches', branches: [first, ...otherwise], mayFail: otherwise.length === 0 },
  });

  test('tells dependencies from other components in a loop over all of them', () => {
    const manifest = root([
      setIndex(true),
      ...checked.slice(0, 1),
      each([isDependency, integrity, process], [invoke]),
    ]);
    expect(run(manifest).log).toEqual(['23@main', '7@radio', '21@modem #modem']);
  });

  test('"or else nothing" is nil after one branch, or an empty last one', () => {
    const manifest = root([
      setIndex(true),
      override({ 3: DIGEST }),
      each([isDependency, integrity, process]),
    ]);
    expect(run(manifest).log).toEqual(['7@radio', '21@modem #modem']);
    const empty = root([
      setIndex(true),
      override({ 3: DIGEST }),
      each([isDependency, integrity, process], []),
    ]);
    expect(run(empty).log).toEqual(['7@radio', '21@modem #modem']);
  });
});

describe('[TD] 5.1 and 5.4: lockstep', () => {
  const both = make({ components: ['modem'], sections: { 'payload-fetch': [invoke], install: [invoke] } });
  const resolved = [setIndex(1), ...checked];

  test('a section that the dependency has and the dependent passes over: abort at its end', () => {
    const manifest = make({
      dependencies: { 1: 'radio' },
      sections: {
        'dependency-resolution': resolved,
        'payload-fetch': [setIndex(0), invoke],
        install: [setIndex(1), process],
      },
    });
    const { outcome, log } = run(manifest, hostOf({ radio: both }), [...DEPENDENT_UPDATE_PROCEDURE]);
    expect(outcome).toMatchObject({ reason: 'dependency-unprocessed' });
    expect(log).toEqual(['7@radio', '23@main']);
  });

  test('a section that the dependent does not have at all: abort', () => {
    const sections = { 'dependency-resolution': resolved, install: [setIndex(1), process] };
    const manifest = make({ dependencies: { 1: 'radio' }, sections });
    expect(run(manifest, hostOf({ radio: both }), [...DEPENDENT_UPDATE_PROCEDURE]).outcome).toMatchObject({
      reason: 'dependency-unprocessed',
    });
  });

  test('each section in its turn: the dependency is done before the next begins', () => {
    const sections = {
      'dependency-resolution': resolved,
      'payload-fetch': [setIndex(1), process],
      install: [setIndex(1), integrity, process],
    };
    const manifest = make({ dependencies: { 1: 'radio' }, sections });
    expect(run(manifest, hostOf({ radio: both }), [...DEPENDENT_UPDATE_PROCEDURE])).toEqual({
      outcome: { ok: true },
      log: ['7@radio', '23@modem', '7@radio', '23@modem'],
    });
  });

  test('a dependency of a dependency is held to it by the one between', () => {
    const middle = make({
      components: ['modem'],
      dependencies: { 1: 'inner' },
      sections: { 'payload-fetch': [setIndex(1), ...checked], install: [setIndex(0), invoke] },
    });
    const sections = {
      'dependency-resolution': resolved,
      'payload-fetch': [setIndex(1), process],
      install: [setIndex(1), process],
    };
    const manifest = make({ dependencies: { 1: 'radio' }, sections });
    const host = hostOf({ radio: middle, inner: both });
    expect(run(manifest, host, [...DEPENDENT_UPDATE_PROCEDURE]).outcome).toMatchObject({
      reason: 'dependency-unprocessed',
    });
  });
});

describe('[TD] 5.4 and 5.6.1: parameters over manifests', () => {
  const shares = (install: SequenceDescription) => make({ components: ['main'], sections: { install } });
  const withMain = (before: SequenceDescription, after: SequenceDescription = []) =>
    root([...checked, setIndex(0), ...before, setIndex(1), process, setIndex(0), ...after]);

  test('set-parameters sets what is unset and leaves the rest', () => {
    expect(run(root([setIndex(0), set({ 21: '#a' }), set({ 21: '#b' }), fetch])).log).toEqual(['21@main #a']);
  });

  test('a dependent replaces the default of its dependency', () => {
    const host = hostOf({ radio: shares([set({ 21: '#default' }), fetch]) });
    expect(run(withMain([set({ 21: '#mine' })]), host).log).toEqual(['7@radio', '21@main #mine']);
    const unset = hostOf({ radio: shares([set({ 21: '#default' }), fetch]) });
    expect(run(withMain([]), unset).log).toEqual(['7@radio', '21@main #default']);
  });

  test('what the dependency overrides holds, and stays in the dependent', () => {
    const host = hostOf({ radio: shares([override({ 21: '#fixed' }), fetch]) });
    expect(run(withMain([set({ 21: '#mine' })], [fetch]), host).log).toEqual([
      '7@radio',
      '21@main #fixed',
      '21@main #fixed',
    ]);
  });

  test('a source component keeps meaning the same component in the other list', () => {
    const dependency = make({
      components: ['first', 'main', 'store'],
      sections: { install: [setIndex(1), command(22, 0)] },
    });
    const sources: (number | undefined)[] = [];
    const host = hostOf({ radio: dependency });
    const manifest = make({
      components: ['main', 'store'],
      dependencies: { 2: 'radio' },
      sections: {
        install: [setIndex(2), ...checked, setIndex(0), override({ 22: 1 }), setIndex(2), process],
      },
    });
    const directive: ProcessorHost['directive'] = (_code, _component, parameters) => {
      sources.push(parameters.get(22));
      return { ok: true };
    };
    expect(runSequences(manifest, 'install', { ...host, directive })).toEqual({ ok: true });
    expect(sources).toEqual([2]);
    const unlisted = make({ components: ['main'], sections: { install: [command(22, 0)] } });
    expect(runSequences(manifest, 'install', { ...hostOf({ radio: unlisted }), directive })).toMatchObject({
      reason: 'parameter-missing',
      at: { code: 22, dependency: [2] },
    });
  });

  test('a component that one list names twice has two sets', () => {
    const manifest = make({
      components: ['main', 'main'],
      dependencies: { 2: 'radio' },
      sections: { install: [setIndex(0), override({ 21: '#a' }), setIndex(1), set({ 21: '#b' }), fetch] },
    });
    expect(run(manifest).log).toEqual(['21@main #b']);
  });

  test('5.2.2: where the list names the dependency, its prefix goes before the names of its components', () => {
    const manifest = make({
      components: ['main', 'radio.suit'],
      dependencies: { 1: 'radio' },
      sections: { install: [setIndex(1), ...checked, process] },
    });
    expect(run(manifest, hostOf({ 'radio.suit': radio })).log).toEqual([
      '7@radio.suit',
      '21@radio/modem #modem',
    ]);
  });

  test('the issuer of each command is the manifest it stands in', () => {
    const paths: (readonly number[])[] = [];
    const host = hostOf({ radio });
    const directive: ProcessorHost['directive'] = (_code, { issuer }) => {
      paths.push(issuer.path);
      return { ok: true };
    };
    runSequences(root([...checked, process, setIndex(0), invoke]), 'install', { ...host, directive });
    expect(paths).toEqual([[1], []]);
  });
});

describe('bounded work', () => {
  /** A manifest that depends on something of its own name, and so, to a careless host, on itself. */
  const itself = root([...checked, process]);

  test('nesting ends at the stated depth', () => {
    const { outcome, log } = run(itself, hostOf({ radio: itself }));
    expect(outcome).toMatchObject({ reason: 'too-many-dependencies' });
    expect(log.length).toBe(SUIT_LIMITS.dependencyDepth);
  });

  test('checks end at the stated number', () => {
    const many = Array.from({ length: SUIT_LIMITS.dependencyChecks + 1 }, () => integrity);
    const { outcome, log } = run(root([override({ 3: DIGEST }), ...many]));
    expect(outcome).toMatchObject({ reason: 'too-many-dependencies' });
    expect(log.length).toBe(SUIT_LIMITS.dependencyChecks);
  });

  test('steps are counted over all manifests together', () => {
    let inner: CommandDescription = invoke;
    for (let depth = 0; depth < 4; depth++) inner = runSequence(setIndex(true), inner);
    const wide = make({
      components: Array.from({ length: 16 }, (_, i) => `part-${i}`),
      sections: { install: [setIndex(true), inner] },
    });
    const { outcome, log } = run(root([...checked, process]), hostOf({ radio: wide }));
    expect(outcome).toMatchObject({ reason: 'too-many-steps' });
    expect(log.length).toBeLessThanOrEqual(SUIT_LIMITS.steps);
  });
});

describe('property: trees of manifests', () => {
  const policies = [1, 3, 5, 6, 7, 8, 11, 14, 18, 21, 22, 23, 25, 28, 29];
  const parameters: Partial<ParameterTypes> = {
    3: DIGEST,
    5: 0,
    18: new Uint8Array(2),
    21: '#a',
    22: 1,
    28: { comparison: '=', version: [1] },
    29: { 5: 1n },
  };
  const sequenceOf: fc.Memo<SequenceDescription> = fc.memo((depth) => {
    const inner = depth > 1 ? sequenceOf(depth - 1) : fc.constant([abort]);
    const one: fc.Arbitrary<CommandDescription> = fc.oneof(
      { weight: 4, arbitrary: fc.constantFrom(...policies).map((code) => command(code, 0)) },
      { weight: 2, arbitrary: fc.constant(integrity) },
      { weight: 2, arbitrary: fc.constant(process) },
      fc
        .oneof(fc.nat(2), fc.constant(true as const), fc.array(fc.nat(2), { minLength: 1, maxLength: 3 }))
        .map(setIndex),
      fc.constantFrom(override(parameters), set({ 21: '#b', 12: false }), override({ 12: false })),
      fc.constant<CommandDescription>({
        code: 34,
        argument: {
          type: 'parameters-by-component',
          values: new Map([
            [0, { 21: '#c' }],
            [2, parameters],
          ]),
        },
      }),
      fc.constant<CommandDescription>({
        code: 35,
        argument: { type: 'parameter-copies', codes: new Map([[1, [21, 22, 3]]]) },
      }),
      inner.map((sequence) => runSequence(...sequence)),
      fc.tuple(inner, inner).map((branches) => tryEach(...branches)),
    );
    return fc.array(one, { minLength: 1, maxLength: 6 }).map((all) => [override(parameters), ...all]);
  });
  const manifest = fc
    .record({ install: sequenceOf(2), validate: sequenceOf(1), shape: fc.boolean() })
    .map(({ install, validate, shape }) =>
      make({
        components: shape ? ['main', 'store', 'radio'] : ['main', 'store'],
        dependencies: shape ? { 2: 'under', 1: '' } : { 2: 'radio' },
        sections: { install: [setIndex(2), ...install], validate: [setIndex(2), ...validate] },
      }),
    );

  test('whatever they say and whatever the host answers, the machine ends, within its limits, and does not throw', () => {
    const seen = new Set<string>();
    fc.assert(
      fc.property(
        fc.array(manifest, { minLength: 1, maxLength: 4 }),
        fc.array(fc.boolean(), { minLength: 1, maxLength: 8 }),
        (tree, answers) => {
          let calls = 0;
          let checks = 0;
          const answer = (): Outcome =>
            answers[calls++ % answers.length]
              ? { ok: true }
              : { ok: false, reason: 'no', detail: 'by pattern' };
          const outcome = runSequences(tree[0]!, ['install', 'validate'], {
            condition: answer,
            directive: answer,
            dependency: ({ issuer }) => {
              expect(issuer.path.length).toBeLessThan(SUIT_LIMITS.dependencyDepth);
              return { ok: true, manifest: tree[checks++ % tree.length]! };
            },
          });
          seen.add(outcome.ok ? 'ok' : outcome.reason);
          expect(calls).toBeLessThanOrEqual(SUIT_LIMITS.steps);
          expect(checks).toBeLessThanOrEqual(SUIT_LIMITS.dependencyChecks);
        },
      ),
      // A seed of its own: that every outcome is reached must not be left to chance.
      { numRuns: 800, seed: 5 },
    );
    for (const reason of ['ok', 'no', 'abort', 'dependency-unchecked', 'not-a-dependency']) {
      expect([...seen]).toContain(reason);
    }
  });

  test('what a command reaches is in the survey that was made before', () => {
    fc.assert(
      fc.property(manifest, fc.array(fc.boolean(), { minLength: 1, maxLength: 8 }), (made, answers) => {
        const { components, complete } = accessOf(made);
        expect(complete).toBe(true);
        let calls = 0;
        const judge: ProcessorHost['condition'] = (code, { index }, parameters) => {
          expect(components[index]!.commands).toContain(code);
          for (const parameter of parameters.keys())
            expect(components[index]!.parameters).toContain(parameter);
          return answers[calls++ % answers.length] ? { ok: true } : { ok: false, reason: 'no', detail: '' };
        };
        const dependency = () => ({ ok: false, reason: 'no', detail: '' }) as const;
        runSequences(made, ['install', 'validate'], { condition: judge, directive: judge, dependency });
      }),
      { numRuns: 300 },
    );
  });
});

describe('[M] 9: access', () => {
  test('commands and parameters of each component, branches and severed sections included', () => {
    const manifest = root([...checked, process, setIndex(0), tryEach([setIndex(1), abort], [invoke])], {
      shared: [setIndex(0), override({ 21: '#a' })],
    });
    const [main, dependency] = accessOf(manifest, [fromUtf8('x')]).components;
    expect(text(main!.identifier)).toBe('x/main');
    expect([...main!.commands].sort()).toEqual([20, 23]);
    expect([...main!.parameters]).toEqual([21]);
    expect([...dependency!.commands].sort((a, b) => a - b)).toEqual([7, 11, 14, 20]);
  });
});

describe('[TD] 8.1: the dependency template', () => {
  const facts = {
    digest: DIGEST.bytes,
    uri: '#radio',
    identifier: id('radio'),
    sections: ['install'] as const,
  };
  const base = {
    sequenceNumber: 1,
    components: [id('main')],
    shared: [override({ 1: new Uint8Array(16) }), command(1, 0)],
    sequences: new Map<SectionName, SequenceDescription>([['install', [override({ 21: '#image' }), fetch]]]),
    sever: [],
  };

  test('fetched, checked and processed before any payload, and in each section that it has', () => {
    const { manifest } = writeManifest(withDependencies(base, [facts]));
    const host = hostOf({ radio });
    const read = readManifest(manifest, { extensions: ALL_EXTENSIONS });
    expect(runSequences(read, DEPENDENT_UPDATE_PROCEDURE, host)).toEqual({ ok: true });
    expect(host.log.filter((line) => !line.startsWith('1@'))).toEqual([
      '21@radio #radio',
      '7@radio',
      '7@radio',
      '21@modem #modem',
      '21@main #image',
      '7@radio',
    ]);
  });

  test('[M] 7: digests are set with override-parameters; the writer refuses set-parameters for one', () => {
    const { manifest } = writeManifest(withDependencies(base, [facts]));
    const { shared } = readManifest(manifest, { extensions: ALL_EXTENSIONS });
    const setting = shared!.commands.filter(
      ({ argument }) => argument.type === 'parameters' && argument.values.has(3),
    );
    expect(setting.map(({ row }) => row.code)).toEqual([20]);
    expect(() => writeManifest({ ...base, shared: [set({ 3: DIGEST })] })).toThrow(TypeError);
    expect(() => withDependencies(withDependencies(base, [facts]), [facts])).toThrow(TypeError);
  });
});
