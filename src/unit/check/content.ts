import { type ByteSource, slice, sourceOf } from '../../bytes/index.ts';
import type { Envelope, Manifest, Outcome, Severable } from '../../suit/index.ts';
import type { RefusalCode } from '../refusals.ts';
import type { Trace } from '../trace.ts';
import type { Circumstances } from './condition-rows.ts';
import type { JudgedDelta } from './delta.ts';
import { type Ciphertext, type Encryption, judgeEncryption } from './encryption.ts';
import type { NamedImage } from './fit.ts';
import { followInstall, INSTALL_SECTIONS, type Payload } from './install-on-paper.ts';

/** A manifest that steps 1 to 7 found in order, what it came in, and the image that it names. */
export interface ContentSubject {
  readonly envelope: Envelope;
  readonly manifest: Manifest;
  readonly image: NamedImage;
}

/** What step 8 found before anything is written. */
export interface JudgedContent {
  /** Undefined where the image is detached and was not supplied. */
  readonly source: ByteSource | undefined;
  /** Where the source is encrypted. */
  readonly ciphertext: Ciphertext | undefined;
  /** Where the source is a delta. */
  readonly delta: JudgedDelta | undefined;
}

const FETCH = 21;
const SOURCE = 'draft-ietf-suit-manifest 6.4, 7.2, 7.5';

/**
 * Step 8, up to the first write: severed parts match their digests and those that are needed are there; payload-fetch
 * and install, followed on paper, bring one image into the free slot and touch nothing else; and its bytes are at
 * hand. Undefined where the image is detached and was not supplied; the step is then marked as lacking it.
 */
export function judgeContent(
  trace: Trace,
  { envelope, manifest, image }: ContentSubject,
  circumstances: Circumstances,
  supplied: ByteSource | undefined,
): JudgedContent {
  trace.enter('content');
  judgeSevered(trace, manifest);
  const payload = judgeSequences(trace, manifest, image, circumstances);
  const { encryption, delta: order } = payload;
  if (encryption?.at === 'start') requireInPlace(trace, manifest);
  const ciphertext = encryption && judgeEncryption(trace, encryption, image, circumstances.unit);
  const source =
    payload.from === 'manifest' ? sourceOf(payload.content) : locate(trace, envelope, payload.uri, supplied);
  const delta = order && { ...order, image, slot: circumstances.unit.precursor! };
  return { source, ciphertext, delta };
}

/** What a start decrypts by is kept with the image: severed parts are not. */
function requireInPlace(trace: Trace, { sequences }: Manifest): void {
  const severed = INSTALL_SECTIONS.find((name) => sequences.get(name)?.state === 'attached');
  if (!severed) return;
  trace.refuse('install-failed', {
    what: 'sequences by which the staged image is decrypted at start',
    expected: 'in the manifest itself',
    found: `${severed} is severed, and a unit keeps no severed part`,
    source: 'draft-ietf-suit-manifest 8.4.12; docs/deployment-profile.md',
  });
}

/**
 * How the manifest that is kept with a staged image has it decrypted; undefined where it is not encrypted, or where what
 * installs it was not kept.
 */
export function encryptionAtStart(
  manifest: Manifest,
  image: NamedImage,
  circumstances: Circumstances,
): Encryption | undefined {
  const { sequences } = manifest;
  const kept = INSTALL_SECTIONS.filter((name) => sequences.get(name)?.state === 'in-place');
  const encryption = followInstall(manifest, image, circumstances, kept).payload?.encryption;
  return encryption?.at === 'start' ? encryption : undefined;
}

/** Every severed part in the envelope is the one whose digest was sealed (draft-ietf-suit-manifest section 8.4.12). */
export function judgeSevered(trace: Trace, { sequences, text, coswid }: Manifest): void {
  for (const [name, part] of sequences) judgeSeveredPart(trace, name, part);
  judgeSeveredPart(trace, 'text', text);
  judgeSeveredPart(trace, 'coswid', coswid);
}

function judgeSeveredPart(trace: Trace, name: string, part: Severable<unknown> | undefined): void {
  if (!part || part.state === 'in-place' || part.state === 'absent') return;
  trace.require(part.state === 'attached', 'severed-part-wrong', {
    what: `severed part ${name}, digest over its byte string with header`,
    expected: part.digest.bytes,
    found: part.state === 'attached' ? part.digest.bytes : 'another digest',
    source: 'draft-ietf-suit-manifest 8.4.12',
  });
}

function judgeSequences(
  trace: Trace,
  manifest: Manifest,
  image: NamedImage,
  circumstances: Circumstances,
): Payload {
  const { sequences } = manifest;
  const question = {
    what: 'install sequence',
    expected: 'one image is brought into the free slot, and nothing else is touched',
    source: SOURCE,
  };
  trace.require(sequences.has('install') || sequences.has('payload-fetch'), 'install-missing', {
    what: 'sequences that install',
    expected: 'payload-fetch or install',
    found: () => [...sequences.keys()].join(', ') || 'none',
    source: SOURCE,
  });
  const { outcome, payload } = followInstall(manifest, image, circumstances);
  if (!outcome.ok) {
    trace.facts.failedAt = outcome.at;
    trace.refuse(codeOf(outcome), question, outcome.detail);
  }
  if (!payload) trace.refuse('install-failed', question, 'the free slot stays empty');
  trace.holds(question, payload.from === 'uri' ? payload.uri : `${payload.content.length} bytes`);
  return payload;
}

function codeOf({ reason, at }: Outcome & { ok: false }): RefusalCode {
  if (reason === 'section-absent') return 'severed-part-missing';
  if (reason === 'section-altered') return 'severed-part-wrong';
  return reason === 'parameter-missing' && at?.code === FETCH ? 'image-source-missing' : 'install-failed';
}

/** Whether the bytes of a payload are there, wherever they are fetched from. */
export function isAtHand(
  payload: Payload,
  { integrated }: Envelope,
  supplied: ByteSource | undefined,
): boolean {
  if (payload.from === 'manifest' || integrated.has(payload.uri)) return true;
  return supplied !== undefined && !payload.uri.startsWith('#');
}

/** An integrated payload has its URI for a key; a fragment alone can name nothing else (section 7.5). */
function locate(
  trace: Trace,
  envelope: Envelope,
  uri: string,
  supplied: ByteSource | undefined,
): ByteSource | undefined {
  const integrated = envelope.integrated.get(uri);
  const question = {
    what: `image ${uri}`,
    expected: 'at hand',
    source: 'draft-ietf-suit-manifest 7.5, 8.4.10.4',
  };
  if (integrated) {
    trace.holds(question, () => `integrated, ${integrated.length} bytes`);
    if (supplied)
      trace.facts.warnings.push('the image is integrated in the envelope; the one supplied was not used');
    return slice(envelope.source, integrated.offset, integrated.length);
  }
  if (uri.startsWith('#')) trace.refuse('payload-missing', question, 'not in the envelope');
  if (supplied) trace.holds(question, () => `supplied, ${supplied.size} bytes`);
  else trace.lacks(question, 'detached, and not supplied');
  return supplied;
}
