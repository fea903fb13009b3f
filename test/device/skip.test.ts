/**
 * Each machine instruction of the device kit left out in turn: no forgery may be accepted then (issued by the status and the
 * confirmation together). `npm test` leaves out a sample, the deep run each one.
 */
import { beforeAll, describe, expect, it } from 'vitest';
import { make } from '../../scripts/device/runner.ts';
import { type SkipQuestion, skipEach } from '../../scripts/device/skip.ts';
import type { KitUnit } from '../../scripts/device/unit-record.ts';
import { concat, sourceOf } from '../../src/bytes/index.ts';
import { encode } from '../../src/cbor/index.ts';
import { decodeCose, LABEL, type Sign1Message, sealSign1, signatureAlgorithm } from '../../src/cose/index.ts';
import { hssSpki, sha256 } from '../../src/crypto/index.ts';
import { openEnvelope } from '../../src/suit/index.ts';
import type { UnitView } from '../../src/unit/index.ts';
import { EMPTY_SLOT } from '../../src/unit/marks.ts';
import { encodeRecord } from '../../src/unit/marks-record.ts';
import { type Certificate, issuerOf } from '../../src/x509/index.ts';
import {
  CLASS_KEY,
  imageOf,
  macedWith,
  makerChain,
  OTHER_CLASS,
  release,
  type Sealing,
  scopeOf,
  signedAt,
  symmetricUnit,
  unitOf,
  VENT,
  x5chain,
} from '../unit/maker.ts';
import { issue, type TestChain } from '../x509/support.ts';
import { DEEP } from './both.ts';
import { hssForgeries, treesOf } from './hss-forgeries.ts';
import { toolchainPresent } from './toolchain.ts';

const MARKS_KEY = new Uint8Array(32).fill(0x5a);
const IMAGE = imageOf(300);
const SECURITY_VERSION = 2;
/** So many instructions between two that the quick run leaves out; a prime, so that no pattern of the code is followed. */
const SAMPLE = 97;

const kitUnit = ({ record, macKeys }: UnitView): KitUnit => ({ record, macKeys, marksKey: MARKS_KEY });

/** The body of a record of marks: nothing installed. */
function marksAt({ record }: KitUnit, sequenceNumber = 0n, securityVersion = 0): Uint8Array {
  const marks = {
    slots: [EMPTY_SLOT, EMPTY_SLOT] as const,
    progress: 0,
    floors: { sequenceNumber, securityVersion, signerGeneration: 0 },
    fallen: [],
  };
  return encodeRecord(marks, { round: 1, position: 0 }, MARKS_KEY, record.memory.flash).slice(0, 256);
}

/** What the skip program knows a good signature by. */
const known = (spki: Uint8Array, signed: Uint8Array, signature: Uint8Array) =>
  sha256(concat(spki.subarray(27), sha256(signed), signature)).slice(0, 8);
const knownCertificate = ({ tbs, signature }: Certificate, issuer: Certificate) =>
  known(issuer.spki, tbs, signature);

function knownSeal(envelope: Uint8Array, { spki }: Certificate): Uint8Array {
  const { blocks, digest } = openEnvelope(sourceOf(envelope));
  const { headers, signature } = decodeCose(blocks[0]!.bytes) as Sign1Message;
  const signed = encode(['Signature1', headers.protectedBytes, new Uint8Array(), digest.encoded]);
  return known(spki, signed, signature);
}

function changed(envelope: Uint8Array, at: number): Uint8Array {
  const copy = envelope.slice();
  copy[at]! ^= 1;
  return copy;
}

const sealedFor = async (seal: Sealing, facts: { classId?: Uint8Array } = {}) =>
  (await release({ seal, images: [IMAGE], ...facts })).envelope;

/** The manifest changed, and its digest made to fit: only the signature tells. */
function rewritten(envelope: Uint8Array): Uint8Array {
  const copy = changed(envelope, openEnvelope(sourceOf(envelope)).manifestSpan.end - 40);
  const { manifestBstr, digest } = openEnvelope(sourceOf(copy));
  copy.set(sha256(manifestBstr), digest.span.end - 32);
  return copy;
}

async function forgeries(): Promise<{ questions: SkipQuestion[]; good: Uint8Array[] }> {
  const chain = await makerChain();
  const stranger = await makerChain();
  const [unit, mac] = [kitUnit(unitOf(chain)), kitUnit(symmetricUnit([CLASS_KEY]))];
  const seal = (of: TestChain) => signedAt(of, SECURITY_VERSION);
  const elsewhere = await issue(
    {
      profile: 'signer',
      publicKey: chain.keys.signer.spki,
      issuer: issuerOf(chain.intermediate),
      scopes: [scopeOf(OTHER_CLASS)],
    },
    chain.keys.intermediate,
  );
  const genuine = await sealedFor(seal(chain));
  const theirs = await sealedFor(seal(stranger));
  const otherClass = await sealedFor(seal(chain), { classId: OTHER_CLASS });
  const outOfScope = await sealedFor(seal({ ...chain, signer: elsewhere }));
  const maced = await sealedFor(macedWith(CLASS_KEY));
  const { blocks, manifestSpan } = openEnvelope(sourceOf(genuine));
  const tagEnd = openEnvelope(sourceOf(maced)).blocks[0]!.span.end;
  const asked = (title: string, envelope: Uint8Array, marks = marksAt(unit)) => ({
    ...{ title, unit, marks, envelope },
  });
  return {
    questions: [
      asked('genuine', genuine),
      asked('another signature', changed(genuine, blocks[0]!.span.end - 3)),
      asked('another manifest', changed(genuine, manifestSpan.end - 3)),
      asked('another manifest with its digest', rewritten(genuine)),
      asked('sealed by a stranger under the same names', theirs),
      asked('another image', changed(genuine, genuine.length - 5)),
      asked('replayed below the sequence floor', genuine, marksAt(unit, 100n)),
      asked('below the security floor', genuine, marksAt(unit, 0n, SECURITY_VERSION + 1)),
      asked('for another class', otherClass),
      asked('by a signer of another class', outOfScope),
      { title: 'another MAC', unit: mac, marks: marksAt(mac), envelope: changed(maced, tagEnd - 3) },
    ],
    good: [
      knownCertificate(chain.signer, chain.intermediate),
      knownCertificate(chain.intermediate, chain.root),
      knownCertificate(stranger.signer, stranger.intermediate),
      knownCertificate(stranger.intermediate, stranger.root),
      knownCertificate(elsewhere, chain.intermediate),
      knownSeal(genuine, chain.signer),
      knownSeal(theirs, stranger.signer),
      knownSeal(otherClass, chain.signer),
      knownSeal(outOfScope, chain.signer),
    ],
  };
}

/** As the others, under the profile of HSS/LMS: certificates as before, and a signer with two trees. */
async function hashBasedForgeries(): Promise<{ questions: SkipQuestion[]; good: Uint8Array[] }> {
  const chain = await makerChain();
  const trees = treesOf(0x42);
  const publicKey = hssSpki(trees.publicKey())!;
  const signer = await issue(
    { profile: 'signer', publicKey, issuer: issuerOf(chain.intermediate), scopes: [scopeOf(VENT)] },
    chain.keys.intermediate,
  );
  const unit = kitUnit(unitOf(chain, { record: { profile: 'suit-sha256-hsslms-a256kw-a256ctr' } }));
  let signed = new Uint8Array();
  const sign = async (message: Uint8Array) => {
    signed = message.slice();
    return trees.sign(4n, signed);
  };
  const seal: Sealing = async (payload) => [
    await sealSign1(
      { algorithm: signatureAlgorithm('HSS-LMS')!, publicKey, sign },
      {
        payload,
        protectedHeaders: [[LABEL.x5t, [-16, sha256(signer.der)]]],
        unprotectedHeaders: [[LABEL.x5chain, x5chain(signer.der, chain.intermediate.der)]],
      },
    ),
  ];
  const genuine = await sealedFor(seal);
  const at = Buffer.from(genuine).indexOf(trees.sign(4n, signed));
  const asked = (title: string, signature: Uint8Array) => {
    const envelope = genuine.slice();
    envelope.set(signature, at);
    return { title, unit, marks: marksAt(unit), envelope };
  };
  const other = new TextEncoder().encode('what was signed before');
  return {
    questions: [
      asked('genuine', trees.sign(4n, signed)),
      ...hssForgeries(trees, other, signed).map(([title, signature]) => asked(title, signature)),
    ],
    good: [knownCertificate(signer, chain.intermediate), knownCertificate(chain.intermediate, chain.root)],
  };
}

describe.skipIf(!toolchainPresent)(
  'an instruction of the kit that is left out (needs the device toolchain)',
  () => {
    beforeAll(() => make('skip'));

    it(
      'lets no forgery through',
      async () => {
        const { questions, good } = await forgeries();
        const { instructions, ended, ...found } = await skipEach(questions, good, DEEP ? 1 : SAMPLE);
        console.log(
          `${instructions} instructions left out, ${questions.length - 1} forgeries each; ${ended} ended the emulator`,
        );
        expect(found).toEqual({ accepted: [], wrongWhole: [] });
        expect(instructions).toBeGreaterThan(DEEP ? 8000 : 80);
      },
      DEEP ? 7_200_000 : 900_000,
    );

    it(
      'lets no forgery of HSS/LMS through, of the kit and of its own HSS/LMS',
      async () => {
        const { questions, good } = await hashBasedForgeries();
        const { instructions, ended, ...found } = await skipEach(
          questions,
          good,
          DEEP ? 1 : 7,
          DEEP ? 'kit' : 'hss',
        );
        console.log(
          `${instructions} instructions left out, ${questions.length - 1} forgeries each; ${ended} ended the emulator`,
        );
        expect(found).toEqual({ accepted: [], wrongWhole: [] });
        expect(instructions).toBeGreaterThan(DEEP ? 8500 : 50);
      },
      DEEP ? 7_200_000 : 900_000,
    );
  },
);
