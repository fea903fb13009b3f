import { type ByteSource, equal, slice, sourceOf } from '../../bytes/index.ts';
import {
  COMMANDS,
  type Envelope,
  type Manifest,
  type Outcome,
  type Parameters,
  runSequences,
  type Severable,
  type TargetComponent,
} from '../../suit/index.ts';
import type { RefusalCode } from '../refusals.ts';
import type { Trace } from '../trace.ts';
import type { Circumstances } from './condition-rows.ts';
import { type Ciphertext, type Encryption, judgeEncryption } from './encryption.ts';
import type { NamedImage } from './fit.ts';
import { DONE, failed, hostFor, type Role, roleOf } from './host.ts';

/** Where the bytes of a component come from, and how they are decrypted on their way where they are. */
export type Payload = (
  | { readonly from: 'uri'; readonly uri: string }
  | { readonly from: 'manifest'; readonly content: Uint8Array }
) & { readonly encryption?: Encryption };

/** What step 8 found before anything is written. */
export interface JudgedContent {
  /** Undefined where the image is detached and was not supplied. */
  readonly source: ByteSource | undefined;
  /** Where the source is encrypted. */
  readonly ciphertext: Ciphertext | undefined;
}

const DIGESTS_DIFFER = 'install and validate name different digests';
const SIZES_DIFFER = 'install and validate name different sizes';

/** What an installation runs before it validates (draft-ietf-suit-manifest section 8.4.6). */
const SECTIONS = ['payload-fetch', 'install'] as const;
const WRITE = 18;
const FETCH = 21;
const COPY = 22;
const SOURCE = 'draft-ietf-suit-manifest 6.4, 7.2, 7.5';

/**
 * Step 8, up to the first write: severed parts match their digests and those that are needed are there; payload-fetch
 * and install, followed on paper, bring one image into the free slot and touch nothing else; and its bytes are at
 * hand. Undefined where the image is detached and was not supplied; the step is then marked as lacking it.
 */
export function judgeContent(
  trace: Trace,
  { envelope, manifest, image }: { envelope: Envelope; manifest: Manifest; image: NamedImage },
  circumstances: Circumstances,
  supplied: ByteSource | undefined,
): JudgedContent {
  trace.enter('content');
  judgeSevered(trace, manifest);
  const payload = followInstall(trace, manifest, image, circumstances);
  const { encryption } = payload;
  if (encryption?.at === 'start') requireInPlace(trace, manifest);
  const ciphertext = encryption && judgeEncryption(trace, encryption, image, circumstances.unit);
  const source =
    payload.from === 'manifest' ? sourceOf(payload.content) : locate(trace, envelope, payload.uri, supplied);
  return { source, ciphertext };
}

/** What a start decrypts by is kept with the image: severed parts are not. */
function requireInPlace(trace: Trace, { sequences }: Manifest): void {
  const severed = SECTIONS.find((name) => sequences.get(name)?.state === 'attached');
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
  const kept = SECTIONS.filter((name) => sequences.get(name)?.state === 'in-place');
  const contents = new Map<Role, Payload>();
  const host = hostFor(circumstances, new InstallOnPaper(circumstances, image, contents));
  const outcome = kept.length > 0 ? runSequences(manifest, kept, host) : undefined;
  const encryption = contents.get('main')?.encryption;
  return outcome?.ok && encryption?.at === 'start' ? encryption : undefined;
}

/** Every severed part in the envelope is the one whose digest was sealed (draft-ietf-suit-manifest section 8.4.12). */
export function judgeSevered(trace: Trace, { sequences, text, coswid }: Manifest): void {
  const parts: (readonly [string, Severable<unknown> | undefined])[] = [
    ...sequences,
    ['text', text],
    ['coswid', coswid],
  ];
  for (const [name, part] of parts) {
    if (!part || part.state === 'in-place' || part.state === 'absent') continue;
    trace.require(part.state === 'attached', 'severed-part-wrong', {
      what: `severed part ${name}, digest over its byte string with header`,
      expected: part.digest.bytes,
      found: part.state === 'attached' ? part.digest.bytes : 'another digest',
      source: 'draft-ietf-suit-manifest 8.4.12',
    });
  }
}

function followInstall(
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
  const contents = new Map<Role, Payload>();
  const outcome = runSequences(
    manifest,
    SECTIONS.filter((name) => sequences.has(name)),
    hostFor(circumstances, new InstallOnPaper(circumstances, image, contents)),
  );
  if (!outcome.ok) {
    trace.facts.failedAt = outcome.at;
    trace.refuse(codeOf(outcome), question, outcome.detail);
  }
  const payload = contents.get('main');
  if (!payload) trace.refuse('install-failed', question, 'the free slot stays empty');
  trace.holds(question, payload.from === 'uri' ? payload.uri : `${payload.content.length} bytes`);
  return payload;
}

function codeOf({ reason, at }: Outcome & { ok: false }): RefusalCode {
  if (reason === 'section-absent') return 'severed-part-missing';
  if (reason === 'section-altered') return 'severed-part-wrong';
  return reason === 'parameter-missing' && at?.code === FETCH ? 'image-source-missing' : 'install-failed';
}

/** Follows an installation without doing it: who ends up with whose bytes. */
class InstallOnPaper {
  readonly #circumstances: Circumstances;
  readonly #image: NamedImage;
  readonly #contents: Map<Role, Payload>;
  /** What was compared, and said of the length, before a copy: of the ciphertext, or of the image itself. */
  readonly #waiting: { digest?: Uint8Array; size?: number } = {};

  constructor(circumstances: Circumstances, image: NamedImage, contents: Map<Role, Payload>) {
    this.#circumstances = circumstances;
    this.#image = image;
    this.#contents = contents;
  }

  /** What was brought in is the image that every start will compare with, and no other. */
  imageMatch(component: TargetComponent, parameters: Parameters): Outcome {
    const role = roleOf(this.#circumstances, component);
    if (!role || !this.#contents.has(role)) return failed('an image is compared before it was brought in');
    const named = parameters.get(3)!.bytes;
    if (role !== 'main') {
      this.#waiting.digest = named;
      return DONE;
    }
    return equal(named, this.#image.digest) ? DONE : failed(DIGESTS_DIFFER);
  }

  directive(code: number, component: TargetComponent, parameters: Parameters): Outcome {
    const role = roleOf(this.#circumstances, component);
    if (!role) return failed('a component that the unit does not have');
    const size = parameters.get(14);
    if (role !== 'main' && size !== undefined) this.#waiting.size = size;
    else if (size !== undefined && size !== this.#image.size) return failed(SIZES_DIFFER);
    const info = parameters.get(19);
    switch (code) {
      case FETCH:
        return this.#bring(role, { from: 'uri', uri: parameters.get(21)! });
      case WRITE:
        return this.#write(role, parameters.get(18)!, info);
      case COPY:
        return this.#copy(role, { index: component.index, source: parameters.get(22)! }, info);
      default:
        return failed(`${COMMANDS.get(code)?.name} while installing`);
    }
  }

  /** On a unit with a staging area the running slot is filled from there only, by the boot code. */
  #bring(role: Role, payload: Payload): Outcome {
    const staged = this.#circumstances.unit.record.memory.shape === 'staged';
    if (role === 'main' && staged) return failed('the running slot would be written directly');
    if (this.#contents.has(role)) return failed('two images for one component');
    this.#contents.set(role, payload);
    return DONE;
  }

  /** A content that is written is decrypted at once (draft-ietf-suit-firmware-encryption section 4.1). */
  #write(role: Role, content: Uint8Array, info: Uint8Array | undefined): Outcome {
    if (!info) return this.#bring(role, { from: 'manifest', content });
    if (role !== 'main') return failed('an encrypted content for a component that does not run');
    const encryption = { info, at: 'install', digest: undefined, size: content.length } as const;
    return this.#bring(role, { from: 'manifest', content, encryption });
  }

  #copy(role: Role, { index, source }: { index: number; source: number }, info?: Uint8Array): Outcome {
    const payload = this.#contents.get('staging') ?? this.#contents.get('download');
    if (role !== 'main' || source === index || !payload)
      return failed(`a copy from component ${source} that moves no staged image`);
    const encryption = info && this.#encryption(info);
    const { digest = this.#image.digest, size = this.#image.size } = this.#waiting;
    if (!encryption && !equal(digest, this.#image.digest)) return failed(DIGESTS_DIFFER);
    if (!encryption && size !== this.#image.size) return failed(SIZES_DIFFER);
    this.#contents.set('main', encryption ? { ...payload, encryption } : payload);
    return DONE;
  }

  #encryption(info: Uint8Array): Encryption {
    const at = this.#contents.has('staging') ? 'start' : 'install';
    return { info, at, digest: this.#waiting.digest, size: this.#waiting.size };
  }
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
