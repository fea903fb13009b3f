/** A unit that is attacked: one image kept, one release on offer. */
import type { ReleaseShape } from '../../../src/suit/index.ts';
import type { FlashSpan, UnitRecord } from '../../../src/unit/index.ts';
import type { Authority } from './authority.ts';
import type { CertificateAuthority } from './certified.ts';
import type { Messenger } from './messages.ts';
import type { Offer } from './offer.ts';
import { type Lives, livesOf } from './power.ts';
import { freeOf, type RecordOptions, recordOf } from './record.ts';
import { releasesOf, type Sealed } from './sealed.ts';

/** One unit, and what its maker sealed for it. */
export interface Rig extends Lives {
  readonly name: string;
  readonly shape: ReleaseShape;
  readonly authority: Authority | CertificateAuthority;
  readonly record: UnitRecord;
  readonly offers: readonly Offer[];
  /** Releases whose images travel encrypted; none where the unit has no key for them. */
  readonly encrypted: readonly Offer[];
  /** Releases by delta from the image that is kept; none where the unit takes none. */
  readonly byDelta: readonly Offer[];
  /** Where what is offered travels in an encrypted message. */
  readonly messenger?: Messenger;
  /** The radio beside the image that runs, where there is one: who seals for it, and the images that were sealed. */
  readonly radio?: { readonly authority: CertificateAuthority; readonly images: readonly Uint8Array[] };
  /** Genuine envelopes that this unit must not take: old ones, and one for another class. */
  readonly others: readonly Offer[];
  /** Digests of the manifests kept, and ready. */
  readonly digests: readonly Uint8Array[];
  /** What installing may write to, in bytes of the store. */
  readonly free: readonly FlashSpan[];
}

/** What a rig is made of. */
export interface RigOptions extends RecordOptions {
  readonly name: string;
  /** Releases whose images travel encrypted; the first of them is the one that is ready, and on trial. */
  readonly encrypted?: readonly Offer[];
  /** What the maker sealed; releases of one image where absent. */
  readonly sealed?: Sealed;
}

export function makeRig(options: RigOptions): Rig {
  const { name, authority, shape = 'remapped', encrypted = [] } = options;
  const record = recordOf(options);
  const { offers, first, others } = options.sealed ?? releasesOf(authority, shape);
  const second = encrypted[0] ?? offers[0]!;
  const made = { offers, encrypted, byDelta: [], others: [first, ...others] };
  return {
    ...{ name, shape, authority, record, ...made, free: freeOf(record) },
    ...livesOf(record, first, second),
    digests: [first, second].map((each) => each.manifestDigest),
  };
}
