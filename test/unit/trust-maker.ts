/** Trust updates of Hollin Ridge: a release root and a spare one, a trust signer below each. Test keys. */
import { toHex } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { defaultMemoryMap } from '../../src/image/index.ts';
import { describePolicyUpdate, writeManifest } from '../../src/suit/index.ts';
import {
  encodeTrustPolicy,
  type TrustPolicy,
  type UnitRecord,
  type UnitState,
  type UnitView,
} from '../../src/unit/index.ts';
import { fingerprint } from '../../src/x509/index.ts';
import { envelopeOf, makerChain, type Sealing, signedBy, unitOf, VENDOR, VENT } from './maker.ts';

/** Root, intermediate, and a signer for each purpose below the same root. */
export const chain = await makerChain();
export const trustChain = { ...chain, ...(await trustSignerOf(chain)) };
export const spare = await makerChain();
export const spareTrust = { ...spare, ...(await trustSignerOf(spare)) };

async function trustSignerOf(under: Awaited<ReturnType<typeof makerChain>>) {
  const { hand } = await import('./policy-maker.ts');
  const { key, certificate } = await hand(undefined, { under, purpose: 'trust' });
  return { signer: certificate, keys: { ...under.keys, signer: key } };
}

export const NOTHING: TrustPolicy = { minimumGeneration: 0, denied: [], retired: [], securityVersion: 0 };
export const rootKey = (of: typeof chain) => fingerprint(of.root.spki);
export const signerKey = (of: typeof chain) => fingerprint(of.signer.spki);

/** A unit with a policy area that holds the release root and the spare one. */
export function trustUnit(
  changes: { record?: Partial<UnitRecord>; state?: Partial<UnitState> } = {},
): UnitView {
  const anchor = (of: typeof chain, label: string, purpose: 'release' | 'spare') => ({
    name: toHex(of.anchor.name),
    spki: toHex(of.anchor.spki),
    label,
    purpose,
  });
  return unitOf(chain, {
    ...changes,
    record: {
      anchors: [anchor(chain, 'root', 'release'), anchor(spare, 'spare', 'spare')],
      memory: defaultMemoryMap({ core: 'none', policy: true }),
      ...changes.record,
    },
  });
}

/** A trust update, sound unless told otherwise; `content` stands for the policy as it is. */
export function trustUpdate(
  policy: Partial<TrustPolicy>,
  options: {
    readonly number?: bigint;
    readonly seal?: Sealing;
    readonly content?: Uint8Array;
    readonly digest?: Uint8Array;
    readonly classId?: Uint8Array;
  } = {},
): Promise<Uint8Array> {
  const { number = 1n, seal = signedBy(trustChain), classId = VENT } = options;
  const content = options.content ?? encodeTrustPolicy({ ...NOTHING, ...policy });
  const digest = options.digest ?? sha256(content);
  const description = describePolicyUpdate({
    sequenceNumber: number,
    vendorId: VENDOR,
    classId,
    content,
    digest,
  });
  return envelopeOf({ manifest: writeManifest(description).manifest, seal });
}
