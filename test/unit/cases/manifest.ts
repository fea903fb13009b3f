/** Steps 4 to 7, all under a good seal: what the manifest says, and what it says to this unit. */
import { fromUtf8 } from '../../../src/bytes/index.ts';
import { CborMap, type CborValue, encode } from '../../../src/cbor/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import { defaultMemoryMap } from '../../../src/image/index.ts';
import { vendorId } from '../../../src/suit/index.ts';
import type { Floors, SlotView, UnitState } from '../../../src/unit/index.ts';
import { type Pairs, sequence } from '../../suit/raw.ts';
import {
  check,
  envelopeOf,
  imageOf,
  makerChain,
  OTHER_CLASS,
  release,
  signedAt,
  signedBy,
  unitOf,
  VENDOR,
  VENT,
} from '../maker.ts';
import {
  COMPATIBLE,
  CONTENT,
  digestParameter,
  FETCH,
  IDS,
  IMAGE,
  type RawParts,
  rawRelease,
  sealedRaw,
  set,
} from '../raw-release.ts';
import type { Case } from './case.ts';

const chain = await makerChain();
const seal = signedBy(chain);
const unit = unitOf(chain);

const sealed =
  (parts: RawParts, by = unit, now?: Date) =>
  async () =>
    check(by, await sealedRaw(seal, parts), undefined, now);
const withInstall = (...pairs: Pairs) => sealed({ install: pairs });
const withShared = (...pairs: Pairs) => sealed({ shared: pairs });

export const MANIFEST_CASES: readonly Case[] = [
  { code: 'manifest-version-unknown', title: '[M] 6.1: version 2', verdict: sealed({ version: 2 }) },
  { code: 'manifest-malformed', title: '[M] 8.4.5: no components', verdict: sealed({ components: [] }) },
  {
    code: 'manifest-malformed',
    title: '[M] 8.4.6: a sequence that is no list of pairs',
    verdict: withInstall(21),
  },
  {
    code: 'manifest-malformed',
    title: '[M] 8.4.2: a negative sequence number',
    verdict: sealed({ number: -1 }),
  },
  {
    code: 'manifest-element-unknown',
    title: '[M] 11.2: an element that nobody assigned',
    verdict: sealed({ more: [[60, new Uint8Array(1)]] }),
  },
  {
    code: 'manifest-element-unsupported',
    title: '[TD] 9.2: uninstall',
    verdict: sealed({ more: [[24, sequence(33, 0)]] }),
  },
  { code: 'command-unknown', title: '[M] 6.1: command 99', verdict: withInstall(...FETCH, 99, 0) },
  { code: 'command-unknown', title: '[M] 8.4.11: a custom command', verdict: withInstall(...FETCH, -300, 0) },
  {
    code: 'command-unknown',
    title: '[M] 6.1: deep inside a branch that would never run',
    verdict: withInstall(...FETCH, 15, [sequence(3, 15), sequence(99, 0)]),
  },
  { code: 'command-unsupported', title: '[M] 8.4.10.9: swap', verdict: withInstall(...FETCH, 31, 0) },
  {
    code: 'command-misplaced',
    title: '[M] 6.2: a fetch in the shared sequence',
    verdict: withShared(...set(...IDS, ...CONTENT, [21, '#image']), ...COMPATIBLE, 21, 2),
  },
  {
    code: 'parameter-unknown',
    title: '[M] 6.1: parameter 77',
    verdict: withInstall(...set([77, 1]), ...FETCH),
  },
  {
    code: 'parameter-unsupported',
    title: '[UM] 4.6: file metadata of a component',
    verdict: withInstall(...set([30, new Uint8Array(4)]), ...FETCH),
  },
  {
    code: 'component-not-permitted',
    title: '[M] 9: the signer has a right to another component',
    verdict: sealed({}, unitOf(chain, { record: { rights: [{ components: ['radio'] }] } })),
  },
  {
    code: 'command-not-permitted',
    title: '[M] 9: the signer may fetch and may not have it started',
    verdict: sealed({}, unitOf(chain, { record: { rights: [{ commands: ['fetch'] }] } })),
  },
  {
    code: 'component-index-missing',
    title: '[M] 6.2: two components and no index',
    verdict: sealed({ components: [[fromUtf8('main')], [fromUtf8('staging')]] }),
  },
  {
    code: 'manifest-digest-algorithm-unknown',
    title: '[M] 10: an image digest by SHA-512',
    verdict: withShared(...set(...IDS, [3, digestParameter(new Uint8Array(64), -44)]), ...COMPATIBLE),
  },
  {
    code: 'severed-part-unexpected',
    title: '[M] 5.5: a text in the envelope that the manifest does not sever',
    verdict: async () =>
      check(
        unit,
        await envelopeOf({ manifest: rawRelease(), severed: new Map([[23, encode(new CborMap([]))]]), seal }),
      ),
  },
];

const OLD: Uint8Array = new Uint8Array(32).fill(5);
const NO_FLOORS: Floors = { sequenceNumber: 0n, securityVersion: 0, signerGeneration: 0 };
const EMPTY: SlotView = { state: 'empty' };
const slot = (
  state: 'kept' | 'ready' | 'on trial',
  sequenceNumber: bigint,
  manifestDigest = OLD,
): SlotView => ({
  state,
  sequenceNumber,
  manifestDigest,
});
const onBoard = (state: Partial<UnitState>) => sealed({}, unitOf(chain, { state: { running: 0, ...state } }));
const sealedDigest = sha256(encode(rawRelease()));

export const FRESHNESS_CASES: readonly Case[] = [
  {
    code: 'marks-lost',
    title: 'nobody knows the floors',
    verdict: onBoard({ marksRead: false }),
  },
  {
    code: 'trial-in-progress',
    title: 'RFC 9019 4.1: another image is on trial',
    verdict: onBoard({ slots: [slot('on trial', 3n), EMPTY] }),
  },
  {
    code: 'trial-in-progress',
    title: 'the very image that is on trial is offered again',
    verdict: onBoard({ slots: [slot('on trial', 7n, sealedDigest), EMPTY] }),
  },
  {
    code: 'sequence-number-too-low',
    title: '[M] 8.4.2: below the floor',
    verdict: onBoard({ floors: { ...NO_FLOORS, sequenceNumber: 8n } }),
  },
  {
    code: 'sequence-number-too-low',
    title: 'RFC 9124 4.3.1: below any number on board, the ready slot included',
    verdict: onBoard({ slots: [slot('kept', 6n), slot('ready', 2n ** 63n)] }),
  },
  {
    code: 'sequence-number-too-low',
    title: 'RFC 9124 4.3.1: the former image, still in the other slot, is no way back',
    verdict: onBoard({ slots: [slot('kept', 8n), slot('kept', 7n, sealedDigest)] }),
  },
  {
    code: 'sequence-number-used',
    title: 'the same number under another digest',
    verdict: onBoard({ slots: [slot('kept', 7n), EMPTY] }),
  },
  {
    code: 'fell-back-before',
    title: 'the same digest fell back three times',
    verdict: onBoard({ fallen: [{ manifestDigest: sealedDigest, tries: 3 }] }),
  },
  {
    code: 'security-version-malformed',
    title: 'a security version that is a text',
    verdict: async () => check(unit, await sealedRaw(signedAt(chain, '1'))),
  },
  {
    code: 'security-version-malformed',
    title: 'a security version beyond 32 bits',
    verdict: async () => check(unit, await sealedRaw(signedAt(chain, 2 ** 32))),
  },
  {
    code: 'security-version-below-floor',
    title: 'an image from before a fix, under a higher sequence number',
    verdict: async () => {
      const floored = unitOf(chain, { state: { floors: { ...NO_FLOORS, securityVersion: 3 } } });
      return check(floored, await sealedRaw(signedAt(chain, 2)));
    },
  },
  {
    code: 'security-version-below-floor',
    title: 'no security version at all counts as 0',
    verdict: onBoard({ floors: { ...NO_FLOORS, securityVersion: 1 } }),
  },
];

const useBefore = (seconds: number): Pairs => [
  ...set([1, VENDOR], [2, VENT], ...CONTENT.slice(0, 1), [4, seconds], ...CONTENT.slice(1)),
  ...COMPATIBLE,
  4,
  15,
];
const NOON = new Date('2026-11-25T12:00:00Z');
const NOON_SECONDS = NOON.getTime() / 1000;
const withClock = unitOf(chain, { record: { clock: true } });
const linked = (slotNumber: number) => set([5, slotNumber]);

export const IDENTITY_CASES: readonly Case[] = [
  {
    code: 'vendor-not-named',
    title: '[M] 6.2: no vendor condition',
    verdict: withShared(...set(...IDS, ...CONTENT), 2, 15),
  },
  {
    code: 'class-not-named',
    title: '[M] 6.2: no class condition',
    verdict: withShared(...set(...IDS, ...CONTENT), 1, 15),
  },
  {
    code: 'vendor-wrong',
    title: '[M] 8.4.9.1: another vendor',
    verdict: withShared(...set([1, vendorId('maker.example')], [2, VENT], ...CONTENT), ...COMPATIBLE),
  },
  {
    code: 'class-wrong',
    title: '[M] 8.4.9.1: another class of the same vendor',
    verdict: withShared(...set([1, VENDOR], [2, OTHER_CLASS], ...CONTENT), ...COMPATIBLE),
  },
  {
    code: 'device-wrong',
    title: '[M] 8.4.9.1: another single unit',
    verdict: withShared(...set(...IDS, ...CONTENT, [24, VENDOR]), ...COMPATIBLE, 24, 15),
  },
  {
    code: 'slot-not-offered',
    title: '[M] 7.7: images for slots 1 and 2, and slot 0 is free',
    verdict: withShared(...set(...IDS, ...CONTENT), ...COMPATIBLE, 15, [
      sequence(...linked(1), 5, 5),
      sequence(...linked(2), 5, 5),
    ]),
  },
  {
    code: 'use-before-passed',
    title: '[UM] 5.1: the clock has reached the value',
    verdict: sealed({ shared: useBefore(NOON_SECONDS) }, withClock, NOON),
  },
  {
    code: 'clock-needed',
    title: '[UM] 4.1: a unit without a clock, whatever time the caller knows',
    verdict: sealed({ shared: useBefore(NOON_SECONDS + 1) }, unit, NOON),
  },
  {
    code: 'parameter-missing',
    title: '[M] 8.4.9: a device condition without its parameter',
    verdict: withShared(...set(...IDS, ...CONTENT), ...COMPATIBLE, 24, 15),
  },
  {
    code: 'condition-failed',
    title: '[M] 8.4.9.5: abort',
    verdict: withShared(...set(...IDS, ...CONTENT), ...COMPATIBLE, 14, 15),
  },
  {
    code: 'condition-failed',
    title: '[UM] 5.3: a battery that this unit does not know counts as empty',
    verdict: withShared(...set(...IDS, ...CONTENT, [26, 100]), ...COMPATIBLE, 26, 15),
  },
];

const shared = (...content: [CborValue, CborValue][]): Pairs => [...set(...IDS, ...content), ...COMPATIBLE];
const small = unitOf(chain, { record: { memory: defaultMemoryMap({ core: 'none', slotSize: 4096 }) } });

export const FIT_CASES: readonly Case[] = [
  {
    code: 'component-unknown',
    title: '[M] 8.4.5: a place that the unit does not have',
    verdict: sealed({ components: [[fromUtf8('radio')]] }),
  },
  {
    code: 'component-unknown',
    title: '[M] 8.4.5.1: a longer path that begins like the component',
    verdict: sealed({ components: [[fromUtf8('main'), fromUtf8('0')]] }),
  },
  {
    code: 'component-count-wrong',
    title: '[M] 6.2: more components than the unit has',
    verdict: async () => {
      const two = await release({ seal, shape: 'staged', images: [IMAGE] });
      return check(unit, two.envelope);
    },
  },
  { code: 'image-not-named', title: '[M] 7.2: no validate sequence', verdict: sealed({ validate: null }) },
  {
    code: 'image-not-named',
    title: 'a validate sequence that compares two different images',
    verdict: sealed({ validate: [3, 15, ...set([3, digestParameter(OLD)]), 3, 15] }),
  },
  {
    code: 'image-size-missing',
    title: 'RFC 9124 4.3.15: no size',
    verdict: sealed({ shared: shared(CONTENT[0]!) }),
  },
  {
    code: 'image-empty',
    title: 'an image of no bytes',
    verdict: sealed({ shared: shared([3, digestParameter(sha256())], [14, 0]) }),
  },
  {
    code: 'image-too-large',
    title: '[M] 8.4.8.7: one byte more than the slot',
    verdict: async () => check(small, (await release({ seal, images: [imageOf(4097)] })).envelope),
  },
  {
    code: 'image-too-large',
    title: 'a size of 2 GiB for a slot of 4 KiB',
    verdict: sealed({ shared: shared(CONTENT[0]!, [14, 2 ** 31]) }, small),
  },
  {
    code: 'start-not-described',
    title: '[M] 7.2: no invoke sequence',
    verdict: sealed({ invoke: null }),
  },
  {
    code: 'envelope-area-too-small',
    title: '[M] 4.2: a manifest of 9000 bytes for an area of 8192',
    verdict: async () =>
      check(
        unit,
        (await release({ seal, referenceUri: `https://hollinridge.example/${'x'.repeat(9000)}` })).envelope,
      ),
  },
];
