/** Hostile payloads, corpora and published envelopes, asked of src/unit and of the device kit. */
import { describe, expect, it, vi } from 'vitest';
import { changeAt, changeValue, type Node, write } from '../../scripts/fuzz/cbor-tree.ts';
import { derTreeOf, writeDer } from '../../scripts/fuzz/der-tree.ts';
import { placesWhere } from '../../scripts/fuzz/payloads/attack.ts';
import { FUZZ_CLASS_KEY } from '../../scripts/fuzz/payloads/authority.ts';
import type { CertificateAuthority } from '../../scripts/fuzz/payloads/certified.ts';
import { ATTACKS } from '../../scripts/fuzz/payloads/classes.ts';
import { changeBlocks, resealed } from '../../scripts/fuzz/payloads/resealed.ts';
import type { Rig } from '../../scripts/fuzz/payloads/rig.ts';
import { PayloadFuzz } from '../../scripts/fuzz/payloads/run.ts';
import { corpusOf } from '../../scripts/fuzz/target-fuzzer.ts';
import { concat, fromHex, toHex } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type * as UnitRoom from '../../src/unit/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import { compare, DEEP } from './both.ts';
import type { Question } from './questions.ts';
import { toolchainPresent } from './toolchain.ts';
import { asked } from './watch.ts';

vi.mock('../../src/unit/index.ts', async (original) => {
  const { watched } = await import('./watch.ts');
  return watched(await original<typeof UnitRoom>());
});

interface Printed {
  readonly envelopeHex?: string | undefined;
}

const MAC_KEYS = new Map([[toHex(FUZZ_CLASS_KEY.id), FUZZ_CLASS_KEY.key]]);
const SEED = 20_261_127;
/** DER before the key in a SubjectPublicKeyInfo (RFC 8410 section 4). */
const ED25519_HEAD = 12;
const CASES = DEEP ? 1000 : 60;
/** On this machine with AddressSanitizer and UBSan. */
const TARGETS = ['sanitized', 'cortex-m'] as const;

const room = await vi.importActual<typeof UnitRoom>('../../src/unit/index.ts');
const fuzz = toolchainPresent ? await PayloadFuzz.begin() : undefined;
const rigs = [...new Set(fuzz?.benches.map(({ rig }) => rig))];

/** An envelope to each kind of unit that has been provisioned and nothing more. */
function offered(envelope: Uint8Array, to: readonly Rig[] = rigs): Question[] {
  return to.map(({ record }) => ({
    kind: 'view',
    unit: {
      record,
      macKeys: record.scheme === 'symmetric' ? MAC_KEYS : new Map(),
      marksKey: new Uint8Array(32),
    },
    state: room.emptyState(record),
    offer: { envelope },
  }));
}

const NEUTRAL_POINTS = [
  '01'.padEnd(64, '0'),
  `${'01'.padEnd(62, '0')}80`,
  `${'ee'.padEnd(62, 'f')}7f`,
  'ee'.padEnd(64, 'f'),
].map(fromHex);
/** R the neutral point, S = 0: under such a key it fits whatever is signed. */
const FITS_ALL = concat(fromHex('01'.padEnd(64, '0')), new Uint8Array(32));

/** An envelope whose certificate at `index` was issued, by the genuine authority, for a key of small order; what that signed is forged. */
function underEverybodysKey({ authority, offers }: Rig, index: 0 | 1, key: Uint8Array): Node {
  const { chain, recertify } = authority as CertificateAuthority;
  const anew = chain[index]!.der.slice();
  anew.set(key, Buffer.from(anew).indexOf(chain[index]!.spki) + ED25519_HEAD);
  const ders = chain.map(({ der }) => der);
  ders[index] = writeDer(recertify(index, derTreeOf(anew)!));
  if (index === 1) ders[0] = concat(ders[0]!.subarray(0, -FITS_ALL.length), FITS_ALL);
  const offer = offers[0]!;
  const put = (tree: Node, name: RegExp, value: Uint8Array) =>
    changeAt(tree, placesWhere(offer, (each) => name.test(each))[0]!.path, () => ({ kind: 'bytes', value }));
  let tree = ders.reduce((each, der, i) => put(each, new RegExp(`/33/${i}$`), der), offer.tree);
  tree = resealed(put(tree, /\/34\/1$/, sha256(ders[0]!)), authority).tree;
  if (index === 1) return tree;
  return changeBlocks(tree, (blocks) =>
    blocks.map((block) => changeAt(block, [0, 0, 3], () => ({ kind: 'bytes', value: FITS_ALL }))),
  );
}

describe.skipIf(!toolchainPresent)('the device kit says the same as src/unit to', () => {
  it.each(ATTACKS.map(({ name, about }) => [name, about] as const))(
    `${CASES} payloads of a fixed seed, class %s (%s)`,
    (name) => {
      const attack = ATTACKS.find((each) => each.name === name)!;
      const from = asked.length;
      for (let number = 0; number < CASES; number++) {
        const { bench, attack: made } = fuzz!.caseOf(attack, SEED, number);
        bench.judge(made);
      }
      const { differences } = compare(room, TARGETS, asked.slice(from));
      expect(differences).toEqual([]);
    },
  );

  it('every input of the fuzz corpora, as an envelope', () => {
    const folders = [
      'announcement',
      'cbor',
      'cose',
      'cose-encrypted',
      'der',
      'report',
      'suit-anatomy',
      'suit-envelope',
    ];
    const inputs = folders.flatMap((folder) => corpusOf('test/corpus', folder));
    const { differences, questions } = compare(
      room,
      TARGETS,
      inputs.flatMap(([, bytes]) => offered(bytes)),
    );
    expect(differences).toEqual([]);
    expect(questions).toBeGreaterThan(500);
  });

  it('every input of the fuzz corpora, as a manifest that is sealed anew', () => {
    const folders = ['cbor', 'suit-manifest', 'vcdiff'];
    const inputs = folders.flatMap((folder) => corpusOf('test/corpus', folder));
    const questions = rigs.flatMap((rig) =>
      inputs.flatMap(([, value]) => {
        const tree = changeValue(rig.offers[0]!.tree, 3, () => ({ kind: 'bytes', value }));
        return offered(write(resealed(tree, rig.authority).tree), [rig]);
      }),
    );
    const { differences, answers } = compare(room, TARGETS, questions);
    expect(differences).toEqual([]);
    expect(answers.get('manifest-malformed')).toBeGreaterThan(10);
  });

  it('every certificate of the fuzz corpora, in the place of the signer’s', () => {
    const inputs = ['der', 'x509-certificate'].flatMap((folder) => corpusOf('test/corpus', folder));
    const questions = rigs.flatMap((rig) => {
      const place = rig.offers[0]!.places.find(({ name }) => /\/33(?:\/0)?$/.test(name));
      if (!place) return [];
      return inputs.flatMap(([, value]) =>
        offered(write(changeAt(rig.offers[0]!.tree, place.path, () => ({ kind: 'bytes', value }))), [rig]),
      );
    });
    const { differences, questions: count } = compare(room, TARGETS, questions);
    expect(differences).toEqual([]);
    expect(count).toBeGreaterThan(100);
  });

  it.each([
    ['signer', 0, 'signature-wrong'],
    ['intermediate', 1, 'signer-path-broken'],
  ] as const)(
    'a %s whose Ed25519 key is the neutral point, under which everybody can sign',
    (_, index, code) => {
      const rig = rigs.find(({ name }) => name.startsWith('ed25519'))!;
      const questions = NEUTRAL_POINTS.flatMap((key) =>
        offered(write(underEverybodysKey(rig, index, key)), [rig]),
      );
      const { differences, answers } = compare(room, TARGETS, questions);
      expect(differences).toEqual([]);
      expect([...answers]).toEqual([[code, NEUTRAL_POINTS.length]]);
    },
  );

  it.skipIf(!vectorsPresent)('../shared/vectors: every envelope that the drafts print', () => {
    const files = ['suit-manifest-examples', 'suit-encryption-examples'];
    const cases: { envelopes?: Printed[]; envelopeHex?: string }[] = files.flatMap(
      (file) => vectors(file).cases,
    );
    const envelopes = cases
      .flatMap(({ envelopes = [], envelopeHex }) => [...envelopes, { envelopeHex }])
      .flatMap(({ envelopeHex }) => (envelopeHex ? [fromHex(envelopeHex)] : []));
    expect(envelopes.length).toBeGreaterThan(3);
    const { differences } = compare(
      room,
      TARGETS,
      envelopes.flatMap((envelope) => offered(envelope)),
    );
    expect(differences).toEqual([]);
  });
});
