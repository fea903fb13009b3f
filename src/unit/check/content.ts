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
import type { NamedImage } from './fit.ts';
import { DONE, failed, hostFor, type Role, roleOf } from './host.ts';

/** Where the bytes of a component come from. */
export type Payload =
  | { readonly from: 'uri'; readonly uri: string }
  | { readonly from: 'manifest'; readonly content: Uint8Array };

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
): ByteSource | undefined {
  trace.enter('content');
  judgeSevered(trace, manifest);
  const payload = followInstall(trace, manifest, image, circumstances);
  return payload.from === 'manifest'
    ? sourceOf(payload.content)
    : locate(trace, envelope, payload.uri, supplied);
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
    trace.refuse(codeOf(outcome), { ...question, found: outcome.detail });
  }
  const payload = contents.get('main');
  if (!payload) trace.refuse('install-failed', { ...question, found: 'the free slot stays empty' });
  trace.holds({
    ...question,
    found: payload.from === 'uri' ? payload.uri : `${payload.content.length} bytes`,
  });
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
    return equal(named, this.#image.digest) ? DONE : failed('install and validate name different digests');
  }

  directive(code: number, component: TargetComponent, parameters: Parameters): Outcome {
    const role = roleOf(this.#circumstances, component);
    if (!role) return failed('a component that the unit does not have');
    const size = parameters.get(14);
    if (size !== undefined && size !== this.#image.size)
      return failed('install and validate name different sizes');
    switch (code) {
      case FETCH:
        return this.#bring(role, { from: 'uri', uri: parameters.get(21)! });
      case WRITE:
        return this.#bring(role, { from: 'manifest', content: parameters.get(18)! });
      case COPY:
        return this.#copy(role, component.index, parameters.get(22)!);
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

  #copy(role: Role, index: number, source: number): Outcome {
    const payload = this.#contents.get('staging');
    if (role !== 'main' || source === index || !payload)
      return failed(`a copy from component ${source} that moves no staged image`);
    this.#contents.set('main', payload);
    return DONE;
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
    trace.holds({ ...question, found: () => `integrated, ${integrated.length} bytes` });
    if (supplied)
      trace.facts.warnings.push('the image is integrated in the envelope; the one supplied was not used');
    return slice(envelope.source, integrated.offset, integrated.length);
  }
  if (uri.startsWith('#')) trace.refuse('payload-missing', { ...question, found: 'not in the envelope' });
  if (supplied) trace.holds({ ...question, found: () => `supplied, ${supplied.size} bytes` });
  else trace.lacks({ ...question, found: 'detached, and not supplied' });
  return supplied;
}
