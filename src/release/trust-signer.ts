import type { KeyDescription } from '../keys/index.ts';
import { formatUuid } from '../suit/index.ts';
import { type AnchorPurpose, POLICY_ALGORITHMS } from '../unit/index.ts';
import {
  type DeviceClass,
  listKeys,
  readCertificates,
  retirements,
  rootStandings,
  type Workspace,
} from '../workspace/index.ts';
import {
  type Anchor,
  type Certificate,
  fingerprint,
  judgeSigner,
  PURPOSE_OID,
  type SignerPurpose,
  sameName,
  validatePath,
} from '../x509/index.ts';
import { SealError } from './error.ts';
import type { ChosenSigner } from './signer.ts';

/** A signer that units would believe, and the root above it. */
export interface StandingSigner extends ChosenSigner {
  readonly purpose: SignerPurpose;
  readonly root: {
    readonly name: string;
    readonly fingerprint: string;
    /** What new units hold it as, and what those hold it as that were provisioned before it took another's place. */
    readonly rank: AnchorPurpose;
    readonly spare: boolean;
  };
}

/** Signers of one purpose for a class that are certified, of its algorithm, within their dates, and not retired. */
export function standingSigners(
  workspace: Workspace,
  deviceClass: DeviceClass,
  purpose: SignerPurpose,
): StandingSigner[] {
  const retired = retirements(workspace);
  return listKeys(workspace, 'signer')
    .filter(({ name }) => !retired.has(name))
    .flatMap((description) => standingOf(workspace, deviceClass, description, purpose) ?? []);
}

/** The one named, or the only one there is. Throws `SealError` trust-signer-none, signer-several. */
export function chooseTrustSigner(
  workspace: Workspace,
  deviceClass: DeviceClass,
  name: string | undefined,
): StandingSigner {
  const all = standingSigners(workspace, deviceClass, 'trust');
  const fit = name === undefined ? all : all.filter(({ description }) => description.name === name);
  if (fit.length === 1) return fit[0]!;
  const names = all.map(({ description, root }) => `${description.name} (${root.name}, ${root.rank})`);
  if (fit.length > 1)
    throw new SealError(
      'signer-several',
      `several trust signers cover ${deviceClass.name}: ${names.join(', ')}`,
      'name one with --signer NAME',
    );
  throw new SealError(
    'trust-signer-none',
    name === undefined
      ? `no signer of trust updates covers class ${deviceClass.name}; a signer of releases never may sign one`
      : `${name} is no signer of trust updates for class ${deviceClass.name} that counts now (there are: ${names.join(', ') || 'none'})`,
    `make one: fieldseal signer create NAME --purpose trust --class ${deviceClass.name}`,
  );
}

function standingOf(
  workspace: Workspace,
  deviceClass: DeviceClass,
  description: KeyDescription,
  purpose: SignerPurpose,
): StandingSigner | undefined {
  const certificates = readCertificates(workspace, description.name);
  const [leaf] = certificates;
  if (!leaf || !isFor(workspace, deviceClass, description, leaf, purpose)) return undefined;
  const path = validatePath({
    chain: certificates,
    anchors: rootsOf(workspace),
    at: workspace.now(),
    purpose: PURPOSE_OID[purpose],
  });
  if (!path.ok) return undefined;
  const algorithm = algorithmOf(description)!;
  return {
    description,
    leaf,
    chain: certificates.filter((one) => !sameName(one.subject, one.issuer)),
    signer: {
      fingerprint: description.fingerprint,
      role: leaf.role,
      algorithm,
      anchor: path.anchor.root.name,
      scopes: leaf.subjectAltUris,
    },
    purpose,
    root: path.anchor.root,
  };
}

function isFor(
  workspace: Workspace,
  { classIds, profile, policy }: DeviceClass,
  description: KeyDescription,
  leaf: Certificate,
  purpose: SignerPurpose,
): boolean {
  const scopes = [...classIds, workspace.vendorId].map((id) => `urn:uuid:${formatUuid(id)}`);
  const own = [profile.authentication.id];
  const algorithms = purpose === 'release' ? (policy?.algorithms ?? own) : own;
  return (
    judgeSigner(leaf, { scopes, minimumGeneration: 0, denied: [], purpose }).ok &&
    algorithms.includes(algorithmOf(description) ?? Number.NaN)
  );
}

function algorithmOf({ algorithm }: KeyDescription): number | undefined {
  return (POLICY_ALGORITHMS as Readonly<Record<string, number>>)[algorithm];
}

function rootsOf(workspace: Workspace): (Anchor & Pick<StandingSigner, 'root'>)[] {
  return rootStandings(workspace)
    .filter(({ retired }) => !retired)
    .flatMap(({ name, rank, spare }) =>
      readCertificates(workspace, name)
        .slice(0, 1)
        .map(({ subject, spki }) => ({
          name: subject.der,
          spki,
          root: { name, rank, spare, fingerprint: fingerprint(spki) },
        })),
    );
}
