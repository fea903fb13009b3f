import { equal } from '../../bytes/index.ts';
import {
  COMMANDS,
  type DeltaInfo,
  INSTALLATION_PROCEDURE,
  type Manifest,
  type Outcome,
  type Parameters,
  runSequences,
  type SectionName,
  STAGING_PROCEDURE,
  type TargetComponent,
} from '../../suit/index.ts';
import { prepareRecord } from '../prepared.ts';
import type { Circumstances } from './condition-rows.ts';
import type { DeltaOrder } from './delta.ts';
import type { Encryption } from './encryption.ts';
import type { Family } from './family.ts';
import type { NamedImage, NamedImages } from './fit.ts';
import { type Actions, DONE, failed, hostFor, type Role, roleOf } from './host.ts';
import { judgeWait, WAIT } from './wait.ts';

/** Where the bytes of a component come from, and what is done with them on their way. */
export type Payload = (
  | {
      readonly from: 'uri';
      readonly uri: string;
      /** The manifest that names the URI: an integrated payload is in its envelope. */
      readonly issuer: Manifest;
    }
  | { readonly from: 'manifest'; readonly content: Uint8Array }
) & {
  readonly encryption?: Encryption;
  /** Where they are a delta that makes the image. */
  readonly delta?: DeltaOrder;
};

/** What is to be installed: a manifest, what it depends on, and the images that they name. */
export interface InstallSubject {
  readonly manifest: Manifest;
  readonly images: NamedImages;
  readonly family?: Family | undefined;
}

/** What installing would do. */
export interface InstallFollowed {
  readonly outcome: Outcome;
  /** What ends up where. */
  readonly contents: ReadonlyMap<Role, Payload>;
  /** What ends up in the component that runs; undefined where nothing does, or the outcome is a failure. */
  readonly payload: Payload | undefined;
  /** What was compared with what runs, in order. */
  readonly compared: readonly { readonly image: NamedImage; readonly holds: boolean }[];
}

/** What an installation runs before it validates (draft-ietf-suit-manifest section 8.4.6). */
export const INSTALL_SECTIONS = ['payload-fetch', 'install'] as const;
/** The same with dependencies (draft-ietf-suit-trust-domains section 7). */
const DEPENDENT_SECTIONS = [...STAGING_PROCEDURE, ...INSTALLATION_PROCEDURE];
const WRITE = 18;
const FETCH = 21;
const COPY = 22;
const DELTA_INFO = -257;
/** Why a procedure ended where a delta is for another image and there is no other way. */
export const OTHER_PRECURSOR = 'other-precursor';
const DIGESTS_DIFFER = 'install and validate name different digests';
const SIZES_DIFFER = 'install and validate name different sizes';

/** Follows what installs, as far as it is there, without doing anything: who ends up with whose bytes. */
export function followInstall(
  { manifest, images, family }: InstallSubject,
  circumstances: Circumstances,
  sections: readonly SectionName[] = INSTALL_SECTIONS,
): InstallFollowed {
  const paper = new InstallOnPaper(images, circumstances);
  const present = family ? DEPENDENT_SECTIONS : sections.filter((name) => manifest.sequences.has(name));
  const outcome = runSequences(manifest, present, hostFor(circumstances, paper, family));
  const { contents, compared } = paper;
  const payload = outcome.ok ? contents.get('main') : undefined;
  return { outcome, payload, contents, compared };
}

class InstallOnPaper implements Actions {
  readonly fetches = true;
  readonly contents = new Map<Role, Payload>();
  readonly compared: { image: NamedImage; holds: boolean }[] = [];
  readonly #images: NamedImages;
  readonly #circumstances: Circumstances;
  /** What was compared, and said of the length, before a copy: of the ciphertext, the delta, or the image itself. */
  readonly #waiting = new Map<Role, { digest?: Uint8Array; size?: number }>();

  constructor(images: NamedImages, circumstances: Circumstances) {
    this.#images = images;
    this.#circumstances = circumstances;
  }

  get #image(): NamedImage {
    return this.#images[0];
  }

  /** The image that is to be in a component in the end; undefined where it only passes through. */
  #imageOf(role: Role): NamedImage | undefined {
    if (role === 'main') return this.#image;
    const { places } = prepareRecord(this.#circumstances.unit.record);
    const index = places.find((place) => place.role === role)?.further;
    return index === undefined ? undefined : this.#images[index + 1];
  }

  /** What was brought in is the image that every start will compare with, and no other. */
  imageMatch(component: TargetComponent, parameters: Parameters): Outcome {
    const role = roleOf(this.#circumstances, component);
    const named = parameters.get(3)!.bytes;
    if (role === 'precursor') return this.#comparePrecursor({ digest: named, size: parameters.get(14) });
    if (!role || !this.contents.has(role)) return failed('an image is compared before it was brought in');
    const image = this.#imageOf(role);
    if (!image) {
      this.#note(role, { digest: named });
      return DONE;
    }
    return equal(named, image.digest) ? DONE : failed(DIGESTS_DIFFER);
  }

  directive(code: number, component: TargetComponent, parameters: Parameters): Outcome {
    if (code === WAIT) return judgeWait(parameters.get(29)!, this.#circumstances);
    const role = roleOf(this.#circumstances, component);
    if (!role) return failed('a component that the unit does not have');
    if (role === 'precursor') return failed('what runs is read only');
    const size = parameters.get(14);
    const image = this.#imageOf(role);
    if (!image && size !== undefined) this.#note(role, { size });
    else if (image && size !== undefined && size !== image.size) return failed(SIZES_DIFFER);
    switch (code) {
      case FETCH:
        return this.#bring(role, {
          from: 'uri',
          uri: parameters.get(21)!,
          issuer: component.issuer.manifest,
        });
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
    return holds ? DONE : { ok: false, reason: OTHER_PRECURSOR, detail: 'what runs is another image' };
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

  #copy(role: Role, component: TargetComponent, parameters: Parameters): Outcome {
    const { index } = component;
    const source = parameters.get(22)!;
    const from = this.#roleIn(component, source);
    const payload = from && this.contents.get(from);
    if (!payload || source === index) return failed(`a copy from component ${source} that moves no image`);
    const delta = parameters.get(DELTA_INFO);
    const info = parameters.get(19);
    if (delta) {
      const reads = this.#roleIn(component, delta.precursor);
      return info ? failed(ENCRYPTED_DELTA) : this.#apply(role, from, payload, delta, reads);
    }
    if (role !== 'main' || from !== (this.#isStaged ? 'staging' : 'download'))
      return failed(`a copy from component ${source} that moves no staged image`);
    const { digest = this.#image.digest, size = this.#image.size } = this.#waiting.get(from) ?? {};
    if (!info && !equal(digest, this.#image.digest)) return failed(DIGESTS_DIFFER);
    if (!info && size !== this.#image.size) return failed(SIZES_DIFFER);
    if (info && payload.delta) return failed(ENCRYPTED_DELTA);
    this.contents.set('main', info ? { ...payload, encryption: this.#encryption(from, info) } : payload);
    return DONE;
  }

  /** The role of a component by its index in the manifest whose command it is. */
  #roleIn({ issuer }: TargetComponent, index: number): Role | undefined {
    return roleOf(this.#circumstances, issuer.manifest.targets[index]!);
  }

  #encryption(from: Role, info: Uint8Array): Encryption {
    const { digest, size } = this.#waiting.get(from) ?? {};
    return { info, at: from === 'staging' ? 'start' : 'install', digest, size };
  }

  /** A delta makes the image on its way into the free slot; it and its precursor were compared before. */
  #apply(role: Role, from: Role, payload: Payload, { window }: DeltaInfo, reads: Role | undefined): Outcome {
    if (from !== 'download' || role !== (this.#isStaged ? 'staging' : 'main') || this.contents.has(role))
      return failed('a delta that does not make the image on its way into the free slot');
    const compared = this.compared.at(-1);
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
