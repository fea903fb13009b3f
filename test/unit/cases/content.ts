/** Steps 8, 9 and 11: what comes with the manifest, and what lies in a slot. */
import { concat, sourceOf } from '../../../src/bytes/index.ts';
import { encode } from '../../../src/cbor/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import {
  describeRelease,
  MAIN_COMPONENT,
  STAGING_COMPONENT,
  writeManifest,
} from '../../../src/suit/index.ts';
import { decide, judgeInstall, judgeStored, type UnitView, type Verdict } from '../../../src/unit/index.ts';
import { type Pairs, sequence } from '../../suit/raw.ts';
import {
  check,
  envelopeOf,
  imageOf,
  makerChain,
  OTHER_CLASS,
  release,
  type Sealing,
  scopeOf,
  signedAt,
  signedBy,
  unitOf,
  VENDOR,
  VENT,
} from '../maker.ts';
import {
  COMPATIBLE,
  CONTENT,
  FETCH,
  IDS,
  IMAGE,
  type RawParts,
  rawRelease,
  sealedRaw,
  set,
  URI,
} from '../raw-release.ts';
import type { Case } from './case.ts';

const chain = await makerChain();
const seal = signedBy(chain);
const unit = unitOf(chain);

const sealed =
  (parts: RawParts, by = unit) =>
  async () =>
    check(by, await sealedRaw(seal, parts));

/** A release whose install sequence is severed; `change` is what becomes of the severed parts on the way. */
async function severed(change: (parts: Map<number, Uint8Array>) => void): Promise<Verdict> {
  const uri = '#image-with-a-name-long-enough-to-be-worth-severing';
  const image = { digest: sha256(IMAGE), sizeBytes: IMAGE.length, uri };
  const facts = {
    shape: 'remapped',
    sequenceNumber: 7,
    vendorId: VENDOR,
    classId: VENT,
    start: true,
  } as const;
  const description = { ...describeRelease({ ...facts, images: [image] }), sever: ['install'] as const };
  const { manifest, severed: parts } = writeManifest(description);
  const changed = new Map(parts);
  change(changed);
  const integrated = [{ key: uri, bytes: IMAGE }];
  return check(unit, await envelopeOf({ manifest, severed: changed, integrated, seal }));
}

const staged = unitOf(chain, { shape: 'staged' });
const stagedParts = (fetch: Pairs, install: Pairs): RawParts => ({
  components: [[...MAIN_COMPONENT], [...STAGING_COMPONENT]],
  shared: [12, 0, ...set(...IDS, ...CONTENT), ...COMPATIBLE],
  validate: [12, 0, 3, 15],
  invoke: [12, 0, 23, 2],
  install: [...fetch, ...install],
});
const FETCH_STAGING: Pairs = [12, 1, ...set(...CONTENT, [21, URI]), 21, 2, 3, 15];

export const CONTENT_CASES: readonly Case[] = [
  {
    code: 'severed-part-missing',
    title: '[M] 8.4.12: the severed install sequence was not delivered',
    verdict: () => severed((parts) => parts.delete(20)),
  },
  {
    code: 'severed-part-wrong',
    title: '[M] 8.4.12: another install sequence in its place',
    verdict: () => severed((parts) => parts.set(20, sequence(...set([21, '#evil']), 21, 2))),
  },
  {
    code: 'severed-part-wrong',
    title: '[M] 8.4.12: a text of which one letter changed',
    verdict: async () => {
      const text = {
        language: 'en',
        modelName: 'VC-2',
        updateDescription: 'Repairs the vent motor, and more',
      };
      const { envelope } = await release({ seal, text });
      const at = Buffer.from(envelope).indexOf('vent motor');
      const changed = envelope.slice();
      changed[at] = 'V'.charCodeAt(0);
      return check(unit, changed);
    },
  },
  {
    code: 'install-missing',
    title: '[M] 5.3.3: only a start is described',
    verdict: sealed({ install: null }),
  },
  {
    code: 'install-failed',
    title: '[M] 6.4: an install sequence that aborts',
    verdict: sealed({ install: [...FETCH, 14, 15] }),
  },
  {
    code: 'install-failed',
    title: '[M] 6.1: nothing is brought into the slot',
    verdict: sealed({ install: [14, 15] }),
  },
  {
    code: 'install-failed',
    title: 'install and validate name different images',
    verdict: sealed({ install: [...set([3, encode([-16, new Uint8Array(32)])]), ...FETCH] }),
  },
  {
    code: 'install-failed',
    title: 'install and validate name different sizes',
    verdict: sealed({ install: [...set([14, IMAGE.length + 1]), ...FETCH] }),
  },
  {
    code: 'install-failed',
    title: 'RFC 9124 4.3.6: two images for one place',
    verdict: sealed({ install: [...FETCH, ...FETCH] }),
  },
  {
    code: 'install-failed',
    title: 'an image is invoked while installing',
    verdict: sealed({ install: [...FETCH, 23, 2] }),
  },
  {
    code: 'install-failed',
    title: 'RFC 9124 4.3.9: a precursor is compared, and this unit keeps none to compare',
    verdict: sealed({ install: [3, 15, ...FETCH] }),
  },
  {
    code: 'install-failed',
    title: 'RFC 9124 4.3.8: a fetch straight into the running slot of a staged unit',
    verdict: sealed(stagedParts([12, 0, ...set([21, URI]), 21, 2, 3, 15], []), staged),
  },
  {
    code: 'install-failed',
    title: 'a staged image that is never copied',
    verdict: sealed(stagedParts(FETCH_STAGING, []), staged),
  },
  {
    code: 'install-failed',
    title: '[M] 8.4.10.5: a component copied onto itself',
    verdict: sealed(stagedParts(FETCH_STAGING, [12, 0, ...set([22, 0]), 22, 2, 3, 15]), staged),
  },
  {
    code: 'image-source-missing',
    title: '[M] 8.4.8.10: a fetch without a URI',
    verdict: sealed({ install: [21, 2, 3, 15] }),
  },
  {
    code: 'payload-missing',
    title: '[M] 7.5: the integrated image was taken out',
    verdict: async () => check(unit, await envelopeOf({ manifest: rawRelease(), seal })),
  },
];

const other = imageOf(IMAGE.length, 77);
const withPayload = (bytes: Uint8Array) => async () =>
  check(unit, await envelopeOf({ manifest: rawRelease(), seal, integrated: [{ key: URI, bytes }] }));
const detached = async (bytes: Uint8Array) => {
  const { envelope } = await release({ seal, images: [IMAGE], detached: true });
  return check(unit, envelope, bytes);
};

export const IMAGE_CASES: readonly Case[] = [
  {
    code: 'image-length-wrong',
    title: 'RFC 9124 4.3.15: one byte behind the image',
    verdict: withPayload(concat(IMAGE, new Uint8Array(1))),
  },
  {
    code: 'image-length-wrong',
    title: 'an integrated image one byte short',
    verdict: withPayload(IMAGE.slice(0, -1)),
  },
  {
    code: 'image-length-wrong',
    title: 'a detached image of no bytes',
    verdict: () => detached(new Uint8Array()),
  },
  {
    code: 'image-digest-wrong',
    title: '[M] 8.4.9.2: another image of the same length',
    verdict: withPayload(other),
  },
  {
    code: 'image-digest-wrong',
    title: '[M] 8.4.9.2: a detached image of the same length',
    verdict: () => detached(other),
  },
];

/** What a unit keeps of a release after it installed it. */
function installed(by: UnitView, envelope: Uint8Array): Uint8Array {
  let plan: ReturnType<typeof judgeInstall> | undefined;
  const steps = [
    'envelope',
    'signer',
    'authentication',
    'manifest',
    'freshness',
    'identity',
    'fit',
    'content',
  ] as const;
  const verdict = decide('unit', steps, (trace) => {
    plan = judgeInstall(trace, { envelope: sourceOf(envelope) }, by);
  });
  if (!plan || 'trust' in plan) throw new Error(`refused: ${verdict.refusal?.code}`);
  return plan.storedEnvelope();
}

/** What a start says to a kept envelope and a slot. */
export function start(
  by: UnitView,
  kept: Uint8Array,
  slotContent: Uint8Array = concat(IMAGE, new Uint8Array(9)),
  floor = 0,
): Verdict {
  return decide('unit', ['start'], (trace) => {
    trace.enter('start');
    const stored = { slot: 0, envelope: sourceOf(kept), content: sourceOf(slotContent) };
    judgeStored(trace, stored, by, { ...by.state.floors, securityVersion: floor });
  });
}

const started =
  (options: {
    seal?: Sealing;
    parts?: RawParts;
    by?: UnitView;
    change?: (kept: Uint8Array) => void;
    content?: Uint8Array;
    floor?: number;
  }) =>
  async () => {
    const kept = installed(unit, await sealedRaw(options.seal ?? seal, options.parts)).slice();
    options.change?.(kept);
    return start(options.by ?? unit, kept, options.content, options.floor);
  };

const stranger = await makerChain();

export const START_CASES: readonly Case[] = [
  {
    code: 'stored-envelope-wrong',
    title: '[M] 8.3: one bit of the kept manifest',
    verdict: started({
      change: (kept) => {
        kept[kept.length - 1]! ^= 1;
      },
    }),
  },
  {
    code: 'stored-envelope-wrong',
    title: 'an erased envelope area',
    verdict: async () => start(unit, new Uint8Array(500).fill(0xff)),
  },
  {
    code: 'stored-signer-wrong',
    title: 'RFC 5280 6.1: the root of the unit is another one',
    verdict: started({ by: unitOf(stranger) }),
  },
  {
    code: 'stored-authentication-wrong',
    title: 'RFC 9052 4.4: one bit of the kept signature',
    verdict: started({
      change: (kept) => {
        const manifestAt = Buffer.from(kept).indexOf(rawRelease());
        kept[manifestAt - 5]! ^= 1;
      },
    }),
  },
  {
    code: 'stored-manifest-wrong',
    title: '[M] 6.1: a command that the unit does not know',
    verdict: async () => start(unit, await sealedRaw(seal, { invoke: [99, 2] })),
  },
  {
    code: 'stored-identity-wrong',
    title: '[M] 4.2: the flash of a unit of another class',
    verdict: async () => {
      const both = await makerChain('p256', { scopes: [scopeOf(OTHER_CLASS), scopeOf(VENT)] });
      const shared = [...set([1, VENDOR], [2, OTHER_CLASS], ...CONTENT), ...COMPATIBLE];
      return start(unitOf(both), await sealedRaw(signedBy(both), { shared }));
    },
  },
  {
    code: 'stored-start-failed',
    title: '[M] 5.3.3: nothing is invoked',
    verdict: async () => start(unit, await sealedRaw(seal, { invoke: null })),
  },
  {
    code: 'stored-version-below-floor',
    title: 'the floor rose above what is in the slot',
    verdict: started({ seal: signedAt(chain, 2), floor: 3 }),
  },
  {
    code: 'stored-image-wrong',
    title: 'RFC 9124 4.3.8: one bit of the slot',
    verdict: started({ content: IMAGE.map((byte, i) => (i === 1000 ? byte ^ 1 : byte)) }),
  },
];
