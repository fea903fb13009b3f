import { type ByteSource, slice, sourceOf } from '../../bytes/index.ts';
import type { Envelope, Manifest, Outcome, Severable } from '../../suit/index.ts';
import type { InstallRequest } from '../ports.ts';
import { prepareRecord } from '../prepared.ts';
import type { RefusalCode } from '../refusals.ts';
import type { Trace } from '../trace.ts';
import type { Circumstances } from './condition-rows.ts';
import type { JudgedDelta } from './delta.ts';
import { type Ciphertext, type Encryption, judgeEncryption } from './encryption.ts';
import type { NamedImage } from './fit.ts';
import type { Role } from './host.ts';
import { followInstall, INSTALL_SECTIONS, type InstallSubject, type Payload } from './install-on-paper.ts';
import { NOT_OVER } from './wait.ts';

/** A manifest that steps 1 to 7 found in order, what it came in, and the images that it names. */
export interface ContentSubject extends InstallSubject {
  readonly envelope: Envelope;
}

/** What step 8 found before anything is written. */
export interface JudgedContent {
  /** Undefined where the image is detached and was not supplied. */
  readonly source: ByteSource | undefined;
  /** Where the source is encrypted. */
  readonly ciphertext: Ciphertext | undefined;
  /** Where the source is a delta. */
  readonly delta: JudgedDelta | undefined;
  /** Sources of further components, in the order of the memory map. */
  readonly further: readonly (ByteSource | undefined)[];
}

const FETCH = 21;
const SOURCE = 'draft-ietf-suit-manifest 6.4, 7.2, 7.5';

/**
 * Step 8, up to the first write: severed parts match their digests and those that are needed are there; payload-fetch
 * and install, followed on paper with those of dependencies, bring one image into each free place and touch nothing
 * else; and their bytes are at hand. Undefined where one is detached and was not supplied; the step then lacks it.
 */
export function judgeContent(
  trace: Trace,
  subject: ContentSubject,
  circumstances: Circumstances,
  supplied: Pick<InstallRequest, 'image' | 'components'>,
): JudgedContent {
  trace.enter('content');
  const { manifest, family } = subject;
  const [image] = subject.images;
  judgeSevered(trace, manifest);
  for (const member of family?.members ?? []) judgeSevered(trace, member.manifest);
  const contents = judgeSequences(trace, subject, circumstances);
  const payload = contents.get('main')!;
  const { encryption, delta: order } = payload;
  if (encryption?.at === 'start') requireInPlace(trace, manifest);
  const ciphertext = encryption && judgeEncryption(trace, encryption, image, circumstances.unit);
  const source = bytesOf(trace, subject, payload, supplied.image);
  const delta = order && { ...order, image, slot: circumstances.unit.precursor! };
  const further = prepareRecord(circumstances.unit.record).places.flatMap(({ role, further: index }) =>
    index === undefined ? [] : [bytesOf(trace, subject, contents.get(role)!, supplied.components?.get(role))],
  );
  return { source, ciphertext, delta, further };
}

function bytesOf(
  trace: Trace,
  { envelope, family }: ContentSubject,
  payload: Payload,
  supplied: ByteSource | undefined,
): ByteSource | undefined {
  if (payload.from === 'manifest') return sourceOf(payload.content);
  const own = family?.envelopeOf(payload.issuer) ?? envelope;
  return locate(trace, own, payload.uri, supplied);
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
  const encryption = followInstall({ manifest, images: [image] }, circumstances, kept).payload?.encryption;
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

/** What ends up in each component of the unit. */
function judgeSequences(
  trace: Trace,
  subject: ContentSubject,
  circumstances: Circumstances,
): ReadonlyMap<Role, Payload> {
  const question = {
    what: 'install sequence',
    expected: 'one image is brought into each free place, and nothing else is touched',
    source: SOURCE,
  };
  const all = [subject.manifest, ...(subject.family?.members ?? []).map(({ manifest }) => manifest)];
  const installs = all.some(({ sequences }) => sequences.has('install') || sequences.has('payload-fetch'));
  trace.require(installs, 'install-missing', {
    what: 'sequences that install',
    expected: 'payload-fetch or install',
    found: () => all.flatMap(({ sequences }) => [...sequences.keys()]).join(', ') || 'none',
    source: SOURCE,
  });
  const { outcome, contents } = followInstall(subject, circumstances);
  if (!outcome.ok) {
    trace.facts.failedAt = outcome.at;
    trace.refuse(codeOf(outcome), question, outcome.detail);
  }
  for (const { role } of prepareRecord(circumstances.unit.record).places) {
    if (role === 'staging') continue;
    const payload = contents.get(role);
    if (!payload) trace.refuse('install-failed', question, emptyText(role));
    trace.holds(question, payload.from === 'uri' ? payload.uri : `${payload.content.length} bytes`);
  }
  return contents;
}

function emptyText(role: Role): string {
  return role === 'main' ? 'the free slot stays empty' : `the free area of ${role} stays empty`;
}

function codeOf({ reason, at }: Outcome & { ok: false }): RefusalCode {
  if (reason === 'section-absent') return 'severed-part-missing';
  if (reason === 'section-altered') return 'severed-part-wrong';
  if (reason === NOT_OVER) return NOT_OVER;
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
