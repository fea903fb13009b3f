/**
 * HSS/LMS asked of src/unit and of the device kit: signers, authorities and roots with such keys, and every way in which a signature
 * or a key can be another (RFC 8554 5.3, 5.4, 6; RFC 9708; RFC 9802 4).
 */
import { describe, expect, it } from 'vitest';
import { changeAt, type Node, write } from '../../scripts/fuzz/cbor-tree.ts';
import { derTreeOf, writeDer } from '../../scripts/fuzz/der-tree.ts';
import { placesWhere } from '../../scripts/fuzz/payloads/attack.ts';
import { type CertificateAuthority, certificateAuthority } from '../../scripts/fuzz/payloads/certified.ts';
import type { SignerType } from '../../scripts/fuzz/payloads/keys.ts';
import { resealed } from '../../scripts/fuzz/payloads/resealed.ts';
import { makeRig, type Rig } from '../../scripts/fuzz/payloads/rig.ts';
import { concat } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import * as room from '../../src/unit/index.ts';
import { compare } from './both.ts';
import type { Question } from './questions.ts';
import { toolchainPresent } from './toolchain.ts';

/** Of the envelopes' area, for three signatures in each half. */
const PAGES = 24;
const TARGETS = ['sanitized', 'cortex-m'] as const;
/** Where things begin in a signature by one tree of N24/H5/W4: 51 chains and a path of 5 nodes, 24 bytes each. */
const AT = { levels: 0, leaf: 4, oneTimeType: 8, randomizer: 12, chains: 36, type: 1260, path: 1264 };
const LENGTH = 1384;
/** Where things stand in a SubjectPublicKeyInfo. */
const KEY_AT = { levels: 20, type: 24, oneTimeType: 28 };

async function rigOf(above: SignerType, signer: SignerType): Promise<Rig> {
  const authority = await certificateAuthority(above, { hands: [{ type: signer }], needed: 1 });
  return makeRig({ name: `${signer} under ${above}`, authority, envelopePages: PAGES });
}

const rigs = {
  signer: await rigOf('p256', 'hss-lms'),
  authorities: await rigOf('hss-lms', 'p256'),
  all: await rigOf('hss-lms', 'hss-lms'),
};

const asked = ({ record }: Rig, tree: Node): Question => ({
  kind: 'view',
  unit: { record, macKeys: new Map(), marksKey: new Uint8Array(32) },
  state: room.emptyState(record),
  offer: { envelope: write(tree) },
});

/** What both say, if it is the same. */
function saidTo(questions: readonly Question[]): [string, number][] {
  const { differences, answers } = compare(room, TARGETS, questions);
  expect(differences).toEqual([]);
  return [...answers];
}

const isSeal = (name: string) => name === '/2/</1/</3';
const put = (tree: Node, path: readonly number[], value: Uint8Array) =>
  changeAt(tree, path, () => ({ kind: 'bytes', value }));

/** A signature with each of its fields changed: count of levels, q, type codes, randomizer, chains, path. */
function changedSignatures(signature: Uint8Array): Uint8Array[] {
  expect(signature).toHaveLength(LENGTH);
  const low = (field: keyof typeof AT) => AT[field] + 3;
  return [
    signature.with(low('levels'), 1),
    signature.with(AT.levels, 1),
    signature.with(low('leaf'), signature[low('leaf')]! ^ 1),
    signature.with(low('leaf'), 32),
    signature.with(AT.leaf, 0x80),
    ...[3, 6, 8, 9].map((type) => signature.with(low('oneTimeType'), type)),
    ...[5, 11, 15, 0].map((type) => signature.with(low('type'), type)),
    ...[AT.randomizer, AT.chains, AT.type - 1, AT.path, LENGTH - 1].map((at) =>
      signature.with(at, signature[at]! ^ 1),
    ),
  ];
}

const cutSignatures = (signature: Uint8Array) => [
  ...[0, 3, 4, 7, 8, 12, 36, 700, LENGTH - 1].map((length) => signature.subarray(0, length)),
  concat(signature, Uint8Array.of(0)),
  concat(signature, signature.subarray(4)),
];

/** The envelope with certificates in place of its own, sealed anew by the same signer. */
function certifiedAs({ offers, authority }: Rig, ders: readonly Uint8Array[]): Node {
  const [offer] = offers;
  const at = (name: RegExp) => placesWhere(offer!, (each) => name.test(each))[0]!.path;
  const tree = ders.reduce((each, der, i) => put(each, at(new RegExp(`/33/${i}$`)), der), offer!.tree);
  return resealed(put(tree, at(/\/34\/1$/), sha256(ders[0]!)), authority).tree;
}

/** Certificates of the chain, the one at `index` with these bytes in place of its key, certified by its genuine issuer. */
function withKey({ authority }: Rig, index: 0 | 1, spki: Uint8Array): Uint8Array[] {
  const { chain, recertify } = authority as CertificateAuthority;
  const anew = chain[index]!.der.slice();
  anew.set(spki, Buffer.from(anew).indexOf(chain[index]!.spki));
  const ders = chain.map(({ der }) => der);
  ders[index] = writeDer(recertify(index, derTreeOf(anew)!));
  return ders;
}

/** Keys of N24/H5/W4 that are none: no levels or nine, types of another length, unknown ones, numbers that are too large. */
function keysThatAreNone(spki: Uint8Array): Uint8Array[] {
  const with4 = (at: number, value: number) => spki.with(at + 3, value);
  return [
    ...[0, 9].map((levels) => with4(KEY_AT.levels, levels)),
    ...[0, 4, 5, 9, 15].map((type) => with4(KEY_AT.type, type)),
    ...[0, 1, 4, 9].map((type) => with4(KEY_AT.oneTimeType, type)),
    ...Object.values(KEY_AT).map((at) => spki.with(at, 1)),
  ];
}

describe.skipIf(!toolchainPresent)('HSS/LMS: the device kit says the same as src/unit to', () => {
  it('genuine releases of a signer, under authorities, and with nothing else', () => {
    const questions = Object.values(rigs).map((rig) => asked(rig, rig.offers[0]!.tree));
    expect(saidTo(questions)).toEqual([['accepted', 3]]);
  });

  it('a seal that is changed, cut or lengthened', () => {
    const { offers } = rigs.signer;
    const place = placesWhere(offers[0]!, isSeal).at(-1)!;
    const own = (place.node as Node & { value: Uint8Array }).value;
    const wrong = [...changedSignatures(own), ...cutSignatures(own)];
    const questions = wrong.map((signature) =>
      asked(rigs.signer, put(offers[0]!.tree, place.path, signature)),
    );
    expect(saidTo(questions)).toEqual([['signature-wrong', wrong.length]]);
  });

  it.each([
    ['signer', 0, 'signer-path-broken'],
    ['intermediate', 1, 'signer-not-anchored'],
  ] as const)('a certificate of the %s whose signature is changed', (_, index, code) => {
    const { chain } = rigs.authorities.authority as CertificateAuthority;
    const questions = changedSignatures(chain[index]!.der.slice(-LENGTH)).map((signature) => {
      const ders = chain.map(({ der }) => der);
      ders[index] = concat(ders[index]!.subarray(0, -LENGTH), signature);
      return asked(rigs.authorities, certifiedAs(rigs.authorities, ders));
    });
    expect(saidTo(questions)).toEqual([[code, questions.length]]);
  });

  it.each([
    ['signer', 0, 'signer-chain-malformed'],
    ['intermediate', 1, 'signer-path-broken'],
  ] as const)('a certified key of HSS that is none, of the %s', (_, index, code) => {
    const rig = index === 0 ? rigs.signer : rigs.authorities;
    const { chain } = rig.authority as CertificateAuthority;
    const questions = keysThatAreNone(chain[index]!.spki).map((spki) =>
      asked(rig, certifiedAs(rig, withKey(rig, index, spki))),
    );
    expect(saidTo(questions)).toEqual([[code, questions.length]]);
  });

  it('a signer of another type of key than the class takes', () => {
    const questions = [
      asked(rigs.signer, rigs.all.offers[0]!.tree),
      asked({ ...rigs.signer, record: rigs.authorities.record }, rigs.all.offers[0]!.tree),
      asked(rigs.all, rigs.authorities.offers[0]!.tree),
    ];
    expect(new Set(saidTo(questions).map(([code]) => code))).toEqual(
      new Set(['signer-not-anchored', 'algorithm-not-allowed']),
    );
  });
});
