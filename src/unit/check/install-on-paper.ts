import { equal } from '../../bytes/index.ts';
import {
  COMMANDS,
  type DeltaInfo,
  type Manifest,
  type Outcome,
  type Parameters,
  runSequences,
  type SectionName,
  type TargetComponent,
} from '../../suit/index.ts';
import type { Circumstances } from './condition-rows.ts';
import type { DeltaOrder } from './delta.ts';
import type { Encryption } from './encryption.ts';
import type { NamedImage } from './fit.ts';
import { DONE, failed, hostFor, type Role, roleOf } from './host.ts';

/** Where the bytes of a component come from, and what is done with them on their way. */
export type Payload = (
  | { readonly from: 'uri'; readonly uri: string }
  | { readonly from: 'manifest'; readonly content: Uint8Array }
) & {
  readonly encryption?: Encryption;
  /** Where they are a delta that makes the image. */
  readonly delta?: DeltaOrder;
};

/** What installing would do. */
export interface InstallFollowed {
  readonly outcome: Outcome;
  /** What ends up in the component that runs; undefined where nothing does, or the outcome is a failure. */
  readonly payload: Payload | undefined;
  /** What was compared with what runs, in order. */
  readonly compared: readonly { readonly image: NamedImage; readonly holds: boolean }[];
}

/** What an installation runs before it validates (draft-ietf-suit-manifest section 8.4.6). */
export const INSTALL_SECTIONS = ['payload-fetch', 'install'] as const;
const WRITE = 18;
const FETCH = 21;
const COPY = 22;
const DELTA_INFO = -257;
const DIGESTS_DIFFER = 'install and validate name different digests';
const SIZES_DIFFER = 'install and validate name different sizes';

/** Follows payload-fetch and install, as far as they are there, without doing anything: who ends up with whose bytes. */
export function followInstall(
  manifest: Manifest,
  image: NamedImage,
  circumstances: Circumstances,
  sections: readonly SectionName[] = INSTALL_SECTIONS,
): InstallFollowed {
  const paper = new InstallOnPaper(manifest, image, circumstances);
  const present = sections.filter((name) => manifest.sequences.has(name));
  const outcome = runSequences(manifest, present, hostFor(circumstances, paper));
  const payload = outcome.ok ? paper.contents.get('main') : undefined;
  return { outcome, payload, compared: paper.compared };
}

class InstallOnPaper {
  readonly contents = new Map<Role, Payload>();
  readonly compared: { image: NamedImage; holds: boolean }[] = [];
  readonly #manifest: Manifest;
  readonly #image: NamedImage;
  readonly #circumstances: Circumstances;
  /** What was compared, and said of the length, before a copy: of the ciphertext, the delta, or the image itself. */
  readonly #waiting = new Map<Role, { digest?: Uint8Array; size?: number }>();

  constructor(manifest: Manifest, image: NamedImage, circumstances: Circumstances) {
    this.#manifest = manifest;
    this.#image = image;
    this.#circumstances = circumstances;
  }

  /** What was brought in is the image that every start will compare with, and no other. */
  imageMatch(component: TargetComponent, parameters: Parameters): Outcome {
    const role = roleOf(this.#circumstances, component);
    const named = parameters.get(3)!.bytes;
    if (role === 'precursor') return this.#comparePrecursor({ digest: named, size: parameters.get(14) });
    if (!role || !this.contents.has(role)) return failed('an image is compared before it was brought in');
    if (role !== 'main') {
      this.#note(role, { digest: named });
      return DONE;
    }
    return equal(named, this.#image.digest) ? DONE : failed(DIGESTS_DIFFER);
  }

  directive(code: number, component: TargetComponent, parameters: Parameters): Outcome {
    const role = roleOf(this.#circumstances, component);
    if (!role) return failed('a component that the unit does not have');
    if (role === 'precursor') return failed('what runs is read only');
    const size = parameters.get(14);
    if (role !== 'main' && size !== undefined) this.#note(role, { size });
    else if (size !== undefined && size !== this.#image.size) return failed(SIZES_DIFFER);
    switch (code) {
      case FETCH:
        return this.#bring(role, { from: 'uri', uri: parameters.get(21)! });
      case WRITE:
        return this.#write(role, parameters.get(18)!, parameters.get(19));
      case COPY:
        return this.#copy(role, component, parameters);
      default:
        return failed(`${COMMANDS.get(code)?.name} while installing`);
    }
  }

  #note(role: Role, what: { digest?: Uint8Array; size?: number }): void {
    this.#waiting.set(role, { ...this.#waiting.get(role), ...what });
  }

  /** RFC 9124 section 4.3.9: what a delta is applied to is compared before anything is fetched. */
  #comparePrecursor({ digest, size }: { digest: Uint8Array; size: number | undefined }): Outcome {
    if (size === undefined) return failed('a precursor without a size');
    const image = { digest, size };
    const holds = this.#circumstances.precursor?.is(image) ?? false;
    this.compared.push({ image, holds });
    return holds ? DONE : failed('what runs is not the precursor of the delta');
  }

  get #isStaged(): boolean {
    return this.#circumstances.unit.record.memory.shape === 'staged';
  }

  /** On a unit with a staging area the running slot is filled from there only, by the boot code. */
  #bring(role: Role, payload: Payload): Outcome {
    if (role === 'main' && this.#isStaged) return failed('the running slot would be written directly');
    if (this.contents.has(role)) return failed('two images for one component');
    this.contents.set(role, payload);
    return DONE;
  }

  /** A content that is written is decrypted at once (draft-ietf-suit-firmware-encryption section 4.1). */
  #write(role: Role, content: Uint8Array, info: Uint8Array | undefined): Outcome {
    if (!info) return this.#bring(role, { from: 'manifest', content });
    if (role !== 'main') return failed('an encrypted content for a component that does not run');
    const encryption = { info, at: 'install', digest: undefined, size: content.length } as const;
    return this.#bring(role, { from: 'manifest', content, encryption });
  }

  #copy(role: Role, { index }: TargetComponent, parameters: Parameters): Outcome {
    const source = parameters.get(22)!;
    const from = roleOf(this.#circumstances, this.#manifest.targets[source]!);
    const payload = from && this.contents.get(from);
    if (!payload || source === index) return failed(`a copy from component ${source} that moves no image`);
    const delta = parameters.get(DELTA_INFO);
    const info = parameters.get(19);
    if (delta) return info ? failed(ENCRYPTED_DELTA) : this.#apply(role, from, payload, delta);
    if (role !== 'main' || from !== (this.#isStaged ? 'staging' : 'download'))
      return failed(`a copy from component ${source} that moves no staged image`);
    const { digest = this.#image.digest, size = this.#image.size } = this.#waiting.get(from) ?? {};
    if (!info && !equal(digest, this.#image.digest)) return failed(DIGESTS_DIFFER);
    if (!info && size !== this.#image.size) return failed(SIZES_DIFFER);
    if (info && payload.delta) return failed(ENCRYPTED_DELTA);
    this.contents.set('main', info ? { ...payload, encryption: this.#encryption(from, info) } : payload);
    return DONE;
  }

  #encryption(from: Role, info: Uint8Array): Encryption {
    const { digest, size } = this.#waiting.get(from) ?? {};
    return { info, at: from === 'staging' ? 'start' : 'install', digest, size };
  }

  /** A delta makes the image on its way into the free slot; it and its precursor were compared before. */
  #apply(role: Role, from: Role, payload: Payload, { window, precursor }: DeltaInfo): Outcome {
    if (from !== 'download' || role !== (this.#isStaged ? 'staging' : 'main') || this.contents.has(role))
      return failed('a delta that does not make the image on its way into the free slot');
    const compared = this.compared.at(-1);
    const reads = roleOf(this.#circumstances, this.#manifest.targets[precursor]!);
    if (reads !== 'precursor' || !compared?.holds)
      return failed('a delta is applied to what was not compared before');
    const { digest, size } = this.#waiting.get(from) ?? {};
    if (!digest || size === undefined) return failed('a delta without digest and size of its own');
    const delta = { digest, size, window, precursor: compared.image };
    this.contents.set(role, { ...payload, delta });
    return DONE;
  }
}

const ENCRYPTED_DELTA = 'a delta and a decryption in one: a unit keeps nothing that is half made';
