import { hssCost, hssSpki, type KeyType, parseHssShape } from '../../crypto/index.ts';
import { generatePrivateKey, publicHalf, softwareSigner } from '../../keys/index.ts';
import { type EnvelopeWeight, type SealForm, weighEnvelope, weightOf } from '../../release/index.ts';
import { formatUuid } from '../../suit/index.ts';
import type { DeviceClass, Profile, Workspace } from '../../workspace/index.ts';
import {
  type Certificate,
  issueCertificate,
  parseCertificate,
  sameName,
  TRIAL_MARK,
  writeName,
} from '../../x509/index.ts';
import type { Holdings } from './holdings.ts';

const HSS_USUAL = 'H10/W4';
// One level, H10 and W4 of SHA-256 (RFC 8554 section 6.1): as long as any other with 32-byte hashes.
const HSS_PUBLIC_KEY = Uint8Array.from({ length: 60 }, (_, i) => ({ 3: 1, 7: 6, 11: 3 })[i] ?? 0);
const HMAC_TAG_BYTES = 32;
const KEY_ID_BYTES = 8;
const RAW_SIGNATURE = 64;
const KEY_TYPES: Readonly<Record<string, KeyType>> = {
  ESP256: 'p256',
  Ed25519: 'ed25519',
  'HSS-LMS': 'hss-lms',
};

/** How many bytes a release of a class is larger than its image, under one profile. */
export interface AddedBytes {
  readonly profile: Profile;
  readonly weight: EnvelopeWeight;
  /** The same with encrypted images: to how many recipients, and what it comes to. */
  readonly encrypted: { readonly recipients: number; readonly kind: string; readonly weight: EnvelopeWeight };
  /** Signatures that a unit verifies at install, certificates included; MACs count as none. */
  readonly verifications: number;
  /** `sealed with`: the certificates on file were counted; `alike`: throwaway ones of the same form. */
  readonly basis: 'certificates on file' | 'certificates alike';
}

export interface SizeRequest {
  readonly workspace: Workspace;
  readonly deviceClass: DeviceClass;
  readonly holdings: Holdings;
  readonly units: number;
  readonly imageBytes: number;
}

/** Weighs a release of the class under a profile: to the byte, but for certificates that are still to be made. */
export async function weighProfile(request: SizeRequest, profile: Profile): Promise<AddedBytes> {
  const { workspace, holdings, imageBytes } = request;
  const deviceClass = under(request.deviceClass, profile);
  const { seals, basis } = await sealsOf(request, deviceClass);
  const slots = deviceClass.memory.shape === 'linked' ? 2 : 1;
  const form = {
    version: holdings.lastVersion ?? '1.0.0',
    sequenceNumber: holdings.lastNumber + 1n,
    securityVersion: holdings.securityVersion,
    imageBytes: Array.from({ length: slots }, () => imageBytes),
    seals,
  };
  const recipients = recipientsOf(request, deviceClass);
  const { bytesInAll, kind } = weightOf(deviceClass, recipients);
  return {
    profile,
    weight: weighEnvelope(workspace, deviceClass, { ...form, encryptionInfoBytes: undefined }),
    encrypted: {
      recipients,
      kind,
      weight: weighEnvelope(workspace, deviceClass, { ...form, encryptionInfoBytes: bytesInAll }),
    },
    verifications: seals.reduce((sum, seal) => sum + (seal.kind === 'mac' ? 0 : 1 + seal.chain.length), 0),
    basis,
  };
}

/** The class as it would be under another profile: policy and rights name algorithms of the own one, and go with it. */
export function under(deviceClass: DeviceClass, profile: Profile): DeviceClass {
  if (profile.name === deviceClass.profile.name) return deviceClass;
  const agrees = profile.keyDistribution.kind === 'agreement';
  return {
    ...deviceClass,
    profile,
    scheme: profile.scheme,
    policy: undefined,
    rights: undefined,
    recipients: deviceClass.recipients === 'units' && !agrees ? 'class' : deviceClass.recipients,
  };
}

function recipientsOf({ units, holdings }: SizeRequest, { recipients }: DeviceClass): number {
  if (recipients === 'units') return units;
  return recipients === 'class' ? 1 : Math.max(1, holdings.contentKeys);
}

async function sealsOf(
  { workspace, holdings }: SizeRequest,
  deviceClass: DeviceClass,
): Promise<{ seals: SealForm[]; basis: AddedBytes['basis'] }> {
  const { profile, policy } = deviceClass;
  const { id: algorithm, name } = profile.authentication;
  if (profile.scheme === 'symmetric') {
    const count = Math.max(1, holdings.macKeys.length);
    const mac = { kind: 'mac', algorithm, tagBytes: HMAC_TAG_BYTES, keyIdBytes: KEY_ID_BYTES } as const;
    return { seals: Array.from({ length: count }, () => mac), basis: 'certificates on file' };
  }
  const wanted = policy?.needed ?? 1;
  const own = holdings.signers.filter(({ description }) => description.algorithm === name).slice(0, wanted);
  const seals: SealForm[] = own.map(({ chain, signatureBytes }) => ({
    kind: 'signature',
    algorithm,
    signatureBytes,
    chain: withoutRoot(chain),
  }));
  while (seals.length < wanted) {
    const type = KEY_TYPES[name]!;
    const signatureBytes =
      type === 'hss-lms' ? hssCost(parseHssShape(HSS_USUAL)!).signatureBytes : RAW_SIGNATURE;
    seals.push({
      kind: 'signature',
      algorithm,
      signatureBytes,
      chain: [await alike(workspace, deviceClass, type)],
    });
  }
  return { seals, basis: own.length === wanted ? 'certificates on file' : 'certificates alike' };
}

function withoutRoot(chain: readonly Certificate[]): readonly Certificate[] {
  return chain.filter(({ subject, issuer }) => !sameName(subject, issuer));
}

/** A certificate of the form that a signer of this type would get; its keys are thrown away. */
async function alike(workspace: Workspace, { classId }: DeviceClass, type: KeyType): Promise<Certificate> {
  const root = generatePrivateKey('p256');
  const signer = softwareSigner(root);
  const publicKey = type === 'hss-lms' ? hssSpki(HSS_PUBLIC_KEY)! : publicHalf(generatePrivateKey(type));
  const trial = workspace.kind === 'trial';
  const nameOf = (common: string, marked: boolean) =>
    writeName([
      ['O', workspace.vendorDomain.slice(0, 64)],
      ...(marked ? [['OU', TRIAL_MARK] as const] : []),
      ['CN', common],
    ]);
  const now = workspace.now();
  const der = await issueCertificate(
    {
      profile: 'signer',
      subject: nameOf('line-1', false),
      issuer: { name: nameOf('root', trial), spki: signer.publicKey },
      publicKey,
      notBefore: now,
      notAfter: now,
      trial,
      scopes: [`urn:uuid:${formatUuid(classId)}`],
      generation: 1,
    },
    (tbs) => signer.sign(tbs),
  );
  return parseCertificate(der);
}
