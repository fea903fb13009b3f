/** Published examples of [TD] Appendix B and [FE] section 9: read, opened, and followed step by step. */
import { describe, expect, test } from 'vitest';
import { fromHex, fromUtf8, sourceOf, toHex } from '../../src/bytes/index.ts';
import { decodeCose, verifySign1 } from '../../src/cose/index.ts';
import { readPublicKey } from '../../src/crypto/index.ts';
import { command, override, setIndex } from '../../src/suit/description.ts';
import {
  ALL_EXTENSIONS,
  DEPENDENT_UPDATE_PROCEDURE,
  dependencyMatches,
  digestMatches,
  type Envelope,
  INSTALLATION_PROCEDURE,
  INVOCATION_PROCEDURE,
  type Manifest,
  manifestDigestMatches,
  type Outcome,
  openDependency,
  openEnvelope,
  type ProcessorHost,
  readManifest,
  runSequences,
  STAGING_PROCEDURE,
  SUIT_LIMITS,
  SuitError,
  writeManifest,
} from '../../src/suit/index.ts';
import { FE_DEPENDENCY, TD_DEPENDENCY, TD_INTEGRATED, TD_PROCESS } from './extension-examples.ts';

const open = (bytes: Uint8Array): Envelope => openEnvelope(sourceOf(bytes));
function read(bytes: Uint8Array): Manifest {
  const envelope = open(bytes);
  return readManifest(envelope.manifest, {
    base: envelope.manifestStart,
    severed: envelope.severed,
    extensions: ALL_EXTENSIONS,
  });
}
const texts = (identifier: readonly Uint8Array[] | undefined): string[] | undefined =>
  identifier?.map((segment) => Buffer.from(segment).toString());

/** Public key of the examples, as [TD] Appendix B prints it: SubjectPublicKeyInfo. */
const TD_KEY = readPublicKey(
  fromHex(
    '3059301306072a8648ce3d020106082a8648ce3d030107034200048496811aae0baaabd26157189eecda26beaa8bf11b6f3f' +
      'e6e2b5659c85dbc0ad3b1f2a4b6c098131c0a36dacd1d78bd381dcdfb09c052db33991db7338b4a896',
  ),
)!;

const OK: Outcome = { ok: true };
const refused = (detail: string): Outcome => ({ ok: false, reason: 'no', detail });

/** A unit on paper: what was fetched, written and invoked where, and dependencies opened out of what was fetched. */
class Paper implements ProcessorHost {
  readonly log: string[] = [];
  readonly held = new Map<string, Uint8Array>();
  readonly depot: ReadonlyMap<string, Uint8Array>;
  authentic: (envelope: Envelope) => Outcome = () => OK;

  constructor(depot: Record<string, Uint8Array>) {
    this.depot = new Map(Object.entries(depot));
  }

  condition: ProcessorHost['condition'] = (code, component, parameters) => {
    const name = texts(component.identifier)!.join('/');
    this.log.push(`${code} ${name}`);
    const bytes = this.held.get(name);
    if (code !== 3 || !bytes) return refused('nothing there');
    const digest = parameters.get(3)!;
    if (component.dependency) return dependencyMatches(sourceOf(bytes), digest, ALL_EXTENSIONS);
    return digestMatches(digest, bytes) ? OK : refused('another digest');
  };

  directive: ProcessorHost['directive'] = (code, component, parameters) => {
    const name = texts(component.identifier)!.join('/');
    this.log.push(`${code} ${name}`);
    if (code === 18) this.held.set(name, parameters.get(18)!);
    if (code === 21) {
      const bytes = this.depot.get(parameters.get(21)!);
      if (!bytes) return refused('not in the depot');
      this.held.set(name, bytes);
    }
    return OK;
  };

  dependency: ProcessorHost['dependency'] = (component, parameters) => {
    const name = texts(component.identifier)!.join('/');
    this.log.push(`7 ${name}`);
    const bytes = this.held.get(name);
    if (!bytes) return { ok: false, reason: 'no', detail: 'nothing there' };
    return openDependency(sourceOf(bytes), parameters.get(3)!, ALL_EXTENSIONS, this.authentic);
  };
}

describe('[TD] Appendix B, the published examples', () => {
  test.each([
    ['Example 0, dependency', TD_DEPENDENCY],
    ['Example 0, dependent', TD_PROCESS],
    ['Example 1', TD_INTEGRATED],
  ])('%s: digest and signature hold', (_name, bytes) => {
    const envelope = open(bytes);
    expect(manifestDigestMatches(envelope)).toBe(true);
    const message = decodeCose(envelope.blocks[0]!.bytes, { requireTag: true });
    if (message.kind !== 'sign1') throw new Error('a signature');
    expect(verifySign1(message, TD_KEY, envelope.digest.encoded)).toMatchObject({ ok: true });
  });

  test('Example 0: the dependency is index 1, after the one listed component, and bears its prefix for a name', () => {
    const manifest = read(TD_PROCESS);
    expect(manifest.components.map(texts)).toEqual([['10']]);
    expect([...manifest.dependencies.keys()]).toEqual([1]);
    expect(manifest.targets.map(({ identifier }) => texts(identifier))).toEqual([['10'], ['dependent.suit']]);
    expect(texts(manifest.componentId)).toEqual(['depending.suit']);
    expect([...manifest.sequences.keys()].sort()).toEqual(['dependency-resolution', 'install', 'invoke']);
    expect(texts(read(TD_DEPENDENCY).componentId)).toEqual(['dependent.suit']);
  });

  test('Example 0 is written byte for byte from what it says', () => {
    const digest = { algorithm: -16, bytes: open(TD_DEPENDENCY).digest.bytes };
    const { manifest } = writeManifest({
      sequenceNumber: 0,
      components: [[fromUtf8('10')]],
      dependencies: new Map([[1, { prefix: [fromUtf8('dependent.suit')] }]]),
      componentId: [fromUtf8('depending.suit')],
      shared: [],
      sequences: new Map([
        ['invoke', [setIndex(0), override({ 23: fromUtf8('cat 00 10') }), command(23, 15)]],
        [
          'dependency-resolution',
          [
            setIndex(1),
            override({ 3: digest, 14: 190, 21: 'http://example.com/dependent.suit' }),
            command(21, 2),
            command(3, 15),
          ],
        ],
        [
          'install',
          [
            setIndex(1),
            override({ 3: digest }),
            command(7, 15),
            command(11, 0),
            setIndex(0),
            override({ 18: fromUtf8(' in multiple trust domains') }),
            command(18, 15),
          ],
        ],
      ]),
      sever: [],
    });
    expect(toHex(manifest)).toBe(toHex(open(TD_PROCESS).manifest));
  });

  test('Example 0: the update fetches and matches the dependency, checks it, and runs its install in turn', () => {
    const host = new Paper({ 'http://example.com/dependent.suit': TD_DEPENDENCY });
    expect(runSequences(read(TD_PROCESS), DEPENDENT_UPDATE_PROCEDURE, host)).toEqual(OK);
    expect(host.log).toEqual(['21 dependent.suit', '3 dependent.suit', '7 dependent.suit', '18 00', '18 10']);
    expect(Buffer.concat([host.held.get('00')!, host.held.get('10')!]).toString()).toBe(
      'hello world in multiple trust domains',
    );
    expect(runSequences(read(TD_PROCESS), INVOCATION_PROCEDURE, host)).toEqual(OK);
  });

  test('7: staged by one processor, installed by another, each in a procedure of its own', () => {
    const host = new Paper({ 'http://example.com/dependent.suit': TD_DEPENDENCY });
    expect(runSequences(read(TD_PROCESS), STAGING_PROCEDURE, host)).toEqual(OK);
    expect(host.log).toEqual(['21 dependent.suit', '3 dependent.suit']);
    expect(runSequences(read(TD_PROCESS), INSTALLATION_PROCEDURE, host)).toEqual(OK);
    expect(host.log.slice(2)).toEqual(['7 dependent.suit', '18 00', '18 10']);
  });

  test('Example 1: the dependency lies in the envelope under its URI', () => {
    const { integrated, source } = open(TD_INTEGRATED);
    const { offset, length } = integrated.get('#dependent.suit')!;
    expect(toHex(source.read(offset, length))).toBe(toHex(TD_DEPENDENCY));
  });

  test('Example 1 processes what no dependency-integrity has checked: abort by 5.6.2', () => {
    const host = new Paper({ '#dependent.suit': TD_DEPENDENCY });
    expect(runSequences(read(TD_INTEGRATED), DEPENDENT_UPDATE_PROCEDURE, host)).toMatchObject({
      ok: false,
      reason: 'dependency-unchecked',
      at: { section: 'install', code: 11, component: 1 },
    });
    expect(host.log).toEqual(['21 dependent.suit', '3 dependent.suit']);
  });

  test('5.1: a processor without dependencies refuses each of them by name before anything runs', () => {
    for (const bytes of [TD_PROCESS, TD_INTEGRATED, TD_DEPENDENCY]) {
      const { manifest } = open(bytes);
      expect(() => readManifest(manifest)).toThrow(SuitError);
      expect(() => readManifest(manifest)).toThrow(/manifest-component-id|dependencies/);
    }
  });
});

describe('[FE] section 9: encryption info that the dependent sets', () => {
  const depot = { '#dependency-manifest': integratedIn(FE_DEPENDENCY) };

  test('reaches the write of the dependency, because both name the same component', () => {
    const host = new Paper(depot);
    const written: (Uint8Array | undefined)[] = [];
    const { directive } = host;
    host.directive = (code, component, parameters, policy) => {
      if (code === 18) written.push(parameters.get(18), parameters.get(19));
      if (code === 18) host.held.set('decrypted-firmware', fromUtf8('This is a real firmware image.'));
      return code === 18 ? OK : directive(code, component, parameters, policy);
    };
    expect(runSequences(read(FE_DEPENDENCY), 'install', host)).toEqual(OK);
    expect(written.map((each) => each?.length)).toEqual([46, 140]);
    expect(toHex(written[1]!).slice(0, 6)).toBe('d86084');
  });

  test('the dependency has a validate section that the dependent does not process: abort by [TD] 5.1', () => {
    const host = new Paper(depot);
    host.directive = ((directive) => (code, component, parameters, policy) => {
      if (code === 18) host.held.set('decrypted-firmware', fromUtf8('This is a real firmware image.'));
      return code === 18 ? OK : directive(code, component, parameters, policy);
    })(host.directive);
    expect(runSequences(read(FE_DEPENDENCY), DEPENDENT_UPDATE_PROCEDURE, host)).toMatchObject({
      ok: false,
      reason: 'dependency-unprocessed',
    });
  });
});

function integratedIn(bytes: Uint8Array): Uint8Array {
  const { integrated, source } = open(bytes);
  const { offset, length } = integrated.get('#dependency-manifest')!;
  return source.read(offset, length);
}

describe('[TD] 5.6.4: openDependency and dependencyMatches', () => {
  const { digest } = open(TD_DEPENDENCY);
  const judge = (bytes: Uint8Array, authentic: Outcome = OK) =>
    openDependency(sourceOf(bytes), digest, ALL_EXTENSIONS, () => authentic);

  test('a dependency whose digest was named and whose signature holds is read', () => {
    expect(judge(TD_DEPENDENCY)).toMatchObject({ ok: true });
    expect(dependencyMatches(sourceOf(TD_DEPENDENCY), digest, ALL_EXTENSIONS)).toEqual(OK);
  });

  test('5.2.2: the digest is that of the manifest, so a change of the blocks does not touch it', () => {
    const changed = TD_DEPENDENCY.slice();
    changed[100]! ^= 1;
    expect(dependencyMatches(sourceOf(changed), digest, ALL_EXTENSIONS)).toEqual(OK);
  });

  test('another manifest, a changed one, and no envelope at all are refused with a reason', () => {
    expect(judge(TD_PROCESS)).toMatchObject({ reason: 'dependency-wrong' });
    const changed = TD_DEPENDENCY.slice();
    changed[changed.length - 1]! ^= 1;
    expect(judge(changed)).toMatchObject({ reason: 'dependency-wrong' });
    expect(judge(fromUtf8('no envelope'))).toMatchObject({ ok: false, reason: 'not-an-envelope' });
  });

  test('6.2: nothing of the manifest is read before it is authenticated', () => {
    expect(judge(TD_DEPENDENCY, refused('signed by nobody we know'))).toEqual(
      refused('signed by nobody we know'),
    );
  });

  test('bit flips: never accepted where the manifest or its digest changed, never an exception', () => {
    const { manifestSpan } = open(TD_DEPENDENCY);
    for (let bit = 0; bit < TD_DEPENDENCY.length * 8; bit++) {
      const changed = TD_DEPENDENCY.slice();
      changed[bit >> 3]! ^= 1 << (bit & 7);
      const verdict = judge(changed);
      if (bit >> 3 >= manifestSpan.start) expect(verdict.ok).toBe(false);
    }
  });

  test('the limits of an envelope hold for a dependency', () => {
    const large = new Uint8Array(SUIT_LIMITS.manifestSize * 4);
    large.set(TD_DEPENDENCY);
    expect(judge(large)).toMatchObject({ ok: false, reason: 'trailing' });
  });
});
