import { type ByteSource, slice } from '../../bytes/index.ts';
import type { Headers } from '../../cose/index.ts';
import { equalInConstantTime } from '../../crypto/index.ts';
import type { StoredFacts, StoredImage } from '../ports.ts';
import { prepareRecord } from '../prepared.ts';
import type { RefusalCode } from '../refusals.ts';
import { readSecurityVersion } from '../security-version.ts';
import type { Floors, UnitView } from '../state.ts';
import type { StepName } from '../steps.ts';
import { Trace } from '../trace.ts';
import { attemptOf } from '../verdict.ts';
import { judgeAccess } from './access.ts';
import { encryptionAtStart } from './content.ts';
import { judgeDependencies } from './dependencies.ts';
import { contentAlgorithmOf, type Encryption, openInfo } from './encryption.ts';
import { judgeEnvelope } from './envelope.ts';
import { judgeFit, type NamedImage, type NamedImages } from './fit.ts';
import { judgeIdentity } from './identity.ts';
import { digestOfSource } from './image.ts';
import { judgeManifest } from './manifest.ts';
import { judgePurpose } from './purpose.ts';
import { judgeSeals } from './seals.ts';

/** What a refusal of an earlier step is called when it falls at start-up. */
const CODES: Partial<Record<StepName, RefusalCode>> = {
  envelope: 'stored-envelope-wrong',
  signer: 'stored-signer-wrong',
  authentication: 'stored-authentication-wrong',
  manifest: 'stored-manifest-wrong',
  identity: 'stored-identity-wrong',
  fit: 'stored-start-failed',
};
/** Index of the staging area where there is one. */
const STAGING = 1;
const STORED_STEPS = Object.keys(CODES) as StepName[];

/** What steps 1 to 7 found out anew. */
interface Again {
  readonly manifestDigest: Uint8Array;
  readonly sequenceNumber: bigint;
  readonly images: NamedImages;
  readonly headers: Headers;
  /** Where the slot is a staging area and holds a ciphertext. */
  readonly encryption: Encryption | undefined;
}

/**
 * What step 11 verifies again, from the memory that will run: authenticity, identity, version, security floor and
 * image digest. Not dates, revocation or the sequence floor, which are judged at install only: a start is never
 * stopped by time or by a list. Step `start` is open before and after. draft-ietf-suit-manifest sections 4.2, 7.2.
 */
export function judgeStored(trace: Trace, stored: StoredImage, unit: UnitView, floors: Floors): StoredFacts {
  const aside = new Trace(STORED_STEPS);
  const attempt = attemptOf(() => judgeAgain(aside, stored, unit));
  const lines = aside.steps.flatMap(({ comparisons }) => comparisons);
  if (!attempt.ok) {
    const last = lines.pop()!;
    trace.adopt(lines);
    const { step, code } = attempt.refusal;
    return trace.refuse(CODES[step]!, { ...last, what: `${last.what} (${code})` });
  }
  trace.adopt(lines);
  const { images, headers, encryption, ...numbers } = attempt.value;
  const [image, ...further] = images;
  const securityVersion = judgeFloor(trace, headers, floors.securityVersion);
  const ciphertext = encryption && judgeCiphertextAgain(trace, stored, image, encryption, unit);
  if (!ciphertext) judgeImageAgain(trace, stored.content, image);
  for (const [i, each] of further.entries()) judgeImageAgain(trace, stored.further![i]!, each);
  const { version } = aside.facts;
  const facts = { ...numbers, securityVersion, version, imageSize: image.size, imageDigest: image.digest };
  return ciphertext ? { ...facts, ciphertext } : facts;
}

/** What waits encrypted in a staging area: compared before it is decrypted, and its content key still opens. */
function judgeCiphertextAgain(
  trace: Trace,
  { content }: StoredImage,
  image: NamedImage,
  { info, digest }: Encryption,
  unit: UnitView,
): NonNullable<StoredFacts['ciphertext']> {
  const size = image.size + contentAlgorithmOf(unit).tagLength;
  const found = digestOfSource(slice(content, 0, Math.min(size, content.size)));
  trace.require(digest !== undefined && equalInConstantTime(found, digest), 'stored-image-wrong', {
    what: 'SHA-256 of the ciphertext in the slot, compared in constant time before it is decrypted',
    expected: digest ?? 'one',
    found,
    source: 'draft-ietf-suit-firmware-encryption 4.3, 7.2; RFC 9459 8',
  });
  const verdict = openInfo(info, unit);
  if (verdict.ok) verdict.content.key.fill(0);
  trace.require(verdict.ok, 'stored-decryption-wrong', {
    what: 'content key of the staged image',
    expected: 'sent to this unit',
    found: verdict.ok ? 'it opens' : verdict.detail,
    source: 'draft-ietf-suit-firmware-encryption 4, 5',
  });
  return { info, size };
}

function judgeAgain(trace: Trace, { envelope: source, slot }: StoredImage, unit: UnitView): Again {
  const { extensions } = prepareRecord(unit.record);
  const opened = judgeEnvelope(trace, source, extensions);
  const { envelope } = opened;
  const rules = { at: undefined, revocation: false, purpose: 'release' } as const;
  const { headers, signers } = judgeSeals(trace, opened, unit, rules);
  const manifest = judgeManifest(trace, envelope, unit.record);
  judgePurpose(trace, manifest, false);
  judgeAccess(trace, manifest, signers, unit);
  const circumstances = { unit, slot, at: 'at start' } as const;
  const family = judgeDependencies(trace, { envelope, manifest, kept: true }, circumstances, rules);
  judgeIdentity(trace, manifest, circumstances, family);
  const images = judgeFit(trace, manifest, circumstances, source.size, family);
  const { sequenceNumber } = manifest;
  const waits = unit.record.memory.shape === 'staged' && slot === STAGING;
  const encryption = waits ? encryptionAtStart(manifest, images[0], circumstances) : undefined;
  return { manifestDigest: envelope.digest.bytes, sequenceNumber, images, headers, encryption };
}

function judgeFloor(trace: Trace, headers: Headers, floor: number): number {
  const version = readSecurityVersion(headers) ?? -1;
  trace.require(version >= floor, 'stored-version-below-floor', {
    what: 'security version',
    expected: () => `at least ${floor}`,
    found: version,
    source: 'docs/deployment-profile.md; RFC 9124 4.2.1',
  });
  return version;
}

function judgeImageAgain(trace: Trace, content: ByteSource, image: NamedImage): void {
  const found = digestOfSource(slice(content, 0, image.size));
  trace.require(equalInConstantTime(found, image.digest), 'stored-image-wrong', {
    what: 'SHA-256 of the image in the slot, compared in constant time',
    expected: image.digest,
    found,
    source: 'draft-ietf-suit-manifest 4.2, 7.2; RFC 9124 4.3.8',
  });
}
