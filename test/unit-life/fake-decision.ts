import { concat, equal, fromUtf8, sourceOf } from '../../src/bytes/index.ts';
import { equalInConstantTime, hmacSha256, sha256 } from '../../src/crypto/index.ts';
import type { Decision, InstallPlan } from '../../src/unit/ports.ts';
import type { RefusalCode } from '../../src/unit/refusals.ts';
import type { UnitView } from '../../src/unit/state.ts';
import type { Trace } from '../../src/unit/trace.ts';

/**
 * A decision small enough to be made a million times: a payload is a sequence number, a security version, the image's
 * size and digest, and a MAC under a key marked as trial. It follows the rules of the real one about numbers, trials,
 * floors and what fell back. The real one has its own tests.
 */
const KEY = fromUtf8('trial key of the fake decision   ');
const HEAD_SIZE = 14;
const ENVELOPE_SIZE = HEAD_SIZE + 32 + 32;
const WHERE = { what: 'fake payload', source: 'test' };

export interface Release {
  readonly number: number;
  readonly securityVersion: number;
  readonly image: Uint8Array;
  readonly envelope: Uint8Array;
  readonly digest: Uint8Array;
}

/** A genuine payload. */
export function release(number: number, image: Uint8Array, securityVersion = 0): Release {
  const head = new Uint8Array(HEAD_SIZE);
  const view = new DataView(head.buffer);
  view.setBigUint64(0, BigInt(number));
  view.setUint16(8, securityVersion);
  view.setUint32(10, image.length);
  const manifest = concat(head, sha256(image));
  const envelope = concat(manifest, hmacSha256(KEY, manifest));
  return { number, securityVersion, image, envelope, digest: sha256(manifest) };
}

/** An image that can be told from others. */
export function imageOf(size: number, seed: number): Uint8Array {
  return Uint8Array.from({ length: size }, (_, i) => Math.imul(i + 1, 31 * seed + 7) >>> (i % 5));
}

/** The image of a further component that a release brings: another for each release, and never as long as its own. */
export function furtherImage(number: number, component: number): Uint8Array {
  return imageOf(70 + 40 * ((number + component) % 4), 11 * number + component + 1);
}

export const fakeDecision: Decision = {
  judgeInstall(trace, request, unit) {
    trace.enter('envelope');
    const read = readEnvelope(trace, request.envelope.read(0, request.envelope.size), 'envelope-malformed');
    trace.enter('authentication');
    trace.require(read.genuine, 'mac-wrong', WHERE);
    trace.enter('freshness');
    const effect = judgeFreshness(trace, read, unit);
    trace.enter('fit');
    trace.require(read.size <= unit.record.memory.slots[0]!.size, 'image-too-large', WHERE);
    trace.enter('content');
    return {
      effect,
      sequenceNumber: read.number,
      manifestDigest: read.digest,
      image: { source: request.image, size: read.size, digest: read.imageDigest },
      further: (unit.record.memory.components ?? []).map(({ name }, i) => {
        const image = furtherImage(Number(read.number), i);
        return { source: request.components?.get(name), size: image.length, digest: sha256(image) };
      }),
      storedEnvelope: () => read.bytes,
    };
  },
  judgeStored(trace, { envelope, content, further = [] }, _unit, floors) {
    const read = readEnvelope(trace, envelope.read(0, envelope.size), 'stored-envelope-wrong');
    trace.require(read.genuine, 'stored-authentication-wrong', WHERE);
    trace.require(read.securityVersion >= floors.securityVersion, 'stored-version-below-floor', WHERE);
    const found = sha256(content.read(0, Math.min(read.size, content.size)));
    trace.require(equalInConstantTime(found, read.imageDigest), 'stored-image-wrong', WHERE);
    for (const [i, area] of further.entries()) {
      const image = furtherImage(Number(read.number), i);
      trace.require(equal(area.read(0, image.length), image), 'stored-image-wrong', WHERE);
    }
    return {
      manifestDigest: read.digest,
      sequenceNumber: read.number,
      securityVersion: read.securityVersion,
      version: undefined,
      imageSize: read.size,
      imageDigest: read.imageDigest,
    };
  },
};

type Read = ReturnType<typeof readEnvelope>;

function readEnvelope(trace: Trace, bytes: Uint8Array, code: RefusalCode) {
  trace.require(bytes.length === ENVELOPE_SIZE, code, WHERE);
  const view = new DataView(bytes.buffer, bytes.byteOffset);
  const manifest = bytes.subarray(0, HEAD_SIZE + 32);
  return {
    bytes,
    number: view.getBigUint64(0),
    securityVersion: view.getUint16(8),
    size: view.getUint32(10),
    imageDigest: bytes.slice(HEAD_SIZE, HEAD_SIZE + 32),
    digest: sha256(manifest),
    genuine: equalInConstantTime(hmacSha256(KEY, manifest), bytes.subarray(HEAD_SIZE + 32)),
  };
}

function judgeFreshness(trace: Trace, read: Read, { state, record }: UnitView): InstallPlan['effect'] {
  trace.require(state.marksRead, 'marks-lost', WHERE);
  const trial = state.slots.some((slot) => slot.state === 'on trial');
  trace.require(!trial, 'trial-in-progress', WHERE);
  const held = state.slots.flatMap((slot) => (slot.state === 'empty' ? [] : [slot]));
  const board = held.filter((slot) => slot.state !== 'filling');
  const floor = [state.floors.sequenceNumber, ...board.map((slot) => slot.sequenceNumber)];
  trace.require(
    floor.every((number) => read.number >= number),
    'sequence-number-too-low',
    WHERE,
  );
  const namesake = board.find((slot) => slot.sequenceNumber === read.number);
  trace.require(!namesake || equal(namesake.manifestDigest, read.digest), 'sequence-number-used', WHERE);
  const tries = state.fallen.find((each) => equal(each.manifestDigest, read.digest))?.tries ?? 0;
  trace.require(tries < record.trial_attempts, 'fell-back-before', WHERE);
  trace.require(read.securityVersion >= state.floors.securityVersion, 'security-version-below-floor', WHERE);
  const holder = held.find((slot) => equal(slot.manifestDigest, read.digest));
  if (!holder) return 'new install';
  return holder.state === 'filling' ? 'resume' : 'already there';
}

/** What installing a release takes. */
export function requestOf({ envelope, image, number }: Release) {
  const components = new Map(COMPONENTS.map((name, i) => [name, sourceOf(furtherImage(number, i))]));
  return { envelope: sourceOf(envelope), image: sourceOf(image), components };
}

/** What further components are called, on units that have some. */
export const COMPONENTS = ['radio', 'display'];
