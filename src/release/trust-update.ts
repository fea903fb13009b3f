import { basename } from 'node:path';
import { sourceOf, toHex } from '../bytes/index.ts';
import { encode } from '../cbor/index.ts';
import { decodeCose } from '../cose/index.ts';
import { sha256 } from '../crypto/index.ts';
import {
  describePolicyUpdate,
  digestOf,
  encodeDigest,
  openEnvelope,
  writeEnvelopeHead,
  writeManifest,
} from '../suit/index.ts';
import { encodeTrustPolicy, type TrustPolicy, UNIT_LIMITS } from '../unit/index.ts';
import {
  type DeviceClass,
  finishRecords,
  type JsonObject,
  leavesJson,
  listRecords,
  readClass,
  readKey,
  readRecord,
  takeNumber,
  trustCounter,
  type Workspace,
  writeRecord,
} from '../workspace/index.ts';
import { blockVerifies, closeSealer, leavesUsed, openHands, type Sealer, sealBlocks } from './blocks.ts';
import { SealError } from './error.ts';
import { signerJson } from './record.ts';
import type { KeyRequest } from './request.ts';
import { chooseTrustSigner, type StandingSigner, standingSigners } from './trust-signer.ts';

/** What a trust update is to add to what the last one of the class said. */
export interface TrustUpdateRequest extends KeyRequest {
  readonly className: string;
  /** Keys to deny: names of this workspace, or SHA-256 of a SubjectPublicKeyInfo in hexadecimal. */
  readonly deny: readonly string[];
  /** Names of roots to retire. */
  readonly retireRoots: readonly string[];
  readonly minimumGeneration?: number | undefined;
  readonly securityVersion?: number | undefined;
  readonly signer?: string | undefined;
  /** The envelope to write. */
  readonly out: string;
  readonly force?: boolean | undefined;
}

const FOLDER = 'trust-updates';
const FINGERPRINT = /^[0-9a-f]{64}$/;

/** What the last trust update of a class said; nothing before the first. */
export function latestPolicy(workspace: Workspace, className: string): TrustPolicy {
  const last = trustUpdates(workspace, className).at(-1);
  if (!last) return { minimumGeneration: 0, denied: [], retired: [], securityVersion: 0 };
  const { minimum_generation, denied, retired_roots, security_version } = last as unknown as {
    minimum_generation: number;
    denied: string[];
    retired_roots: string[];
    security_version: number;
  };
  return {
    minimumGeneration: minimum_generation,
    denied,
    retired: retired_roots,
    securityVersion: security_version,
  };
}

/** The records of a class's trust updates, by number. */
export function trustUpdates(workspace: Workspace, className: string): JsonObject[] {
  return listRecords(workspace, FOLDER, className)
    .map((name) => name.split('/'))
    .toSorted((a, b) => Number(a.at(-1)) - Number(b.at(-1)))
    .map((name) => readRecord(workspace, FOLDER, name).facts);
}

/**
 * Makes a trust update: what the last one of the class said and what is added, signed by a signer with that purpose, under
 * the next number of a count of its own. On record before the file gets its name. Throws `SealError` trust-...,
 * `KeyError`, `WorkspaceError`.
 */
export async function makeTrustUpdate(request: TrustUpdateRequest): Promise<JsonObject> {
  const { workspace } = request;
  const deviceClass = await readClass(workspace, request.className);
  requireTakes(deviceClass);
  const signer = chooseTrustSigner(workspace, deviceClass, request.signer);
  const policy = policyOf(request, deviceClass);
  requireSensible(workspace, deviceClass, policy, signer);
  const hands = await openHands(request, [signer]);
  const sealer: Sealer = { kind: 'signature', hands, standing: undefined };
  try {
    return await write(request, deviceClass, policy, sealer, signer);
  } finally {
    closeSealer(sealer);
  }
}

function requireTakes({ name, scheme, memory }: DeviceClass): void {
  if (scheme === 'symmetric') {
    throw new SealError(
      'trust-not-taken',
      `class ${name} is symmetric: every unit holds the key, so nothing under it proves who says whom to believe`,
      'a leaked class key is replaced by service at each unit; see docs/incidents.md',
    );
  }
  if (memory.policy) return;
  throw new SealError(
    'trust-not-taken',
    `units of class ${name} have no policy area, so they take no trust updates`,
    `give new units one: "policy" under "memory" in classes/${name}.yaml; fielded ones are reached by service only`,
  );
}

function policyOf(
  { workspace, className, ...asked }: TrustUpdateRequest,
  { name }: DeviceClass,
): TrustPolicy {
  const before = latestPolicy(workspace, className);
  const union = (old: readonly string[], added: readonly string[]) =>
    [...new Set([...old, ...added])].toSorted();
  const policy = {
    minimumGeneration: asked.minimumGeneration ?? before.minimumGeneration,
    denied: union(
      before.denied,
      asked.deny.map((key) => fingerprintOf(workspace, key)),
    ),
    retired: union(
      before.retired,
      asked.retireRoots.map((key) => fingerprintOf(workspace, key, 'root')),
    ),
    securityVersion: asked.securityVersion ?? before.securityVersion,
  };
  const falls =
    policy.minimumGeneration < before.minimumGeneration || policy.securityVersion < before.securityVersion;
  if (falls)
    throw unsound(
      `generation and security version of a trust update never fall (now ${before.minimumGeneration} and ${before.securityVersion})`,
      'leave the option out to keep the value',
    );
  const { denied, roots } = UNIT_LIMITS;
  if (policy.denied.length > denied.value || policy.retired.length > roots.value)
    throw unsound(
      `units of ${name} hold at most ${denied.value} denied keys and ${roots.value} retired roots`,
      'end many signers at once with --minimum-generation',
    );
  return policy;
}

function fingerprintOf(workspace: Workspace, key: string, purpose?: 'root'): string {
  if (FINGERPRINT.test(key) && !purpose) return key;
  const description = readKey(workspace, key);
  if (description.spki && (!purpose || description.purpose === purpose)) return description.fingerprint;
  throw unsound(`${key} is a ${description.purpose} key`, purpose ? 'name a root' : 'name a signer');
}

/** Refuses what units would refuse, and what would leave nobody who could seal for them. */
function requireSensible(
  workspace: Workspace,
  deviceClass: DeviceClass,
  policy: TrustPolicy,
  signer: StandingSigner,
): void {
  const before = latestPolicy(workspace, deviceClass.name);
  const going = policy.retired.filter((root) => !before.retired.includes(root));
  if (going.length > 0 && (!signer.root.spare || going.includes(signer.root.fingerprint)))
    throw unsound(
      `${signer.description.name} stands below ${signer.root.name}, and only a signer below a spare root may retire another root`,
      'name a trust signer below the spare root with --signer; where there is no spare root on the units, only service helps',
    );
  const left = standingSigners(workspace, deviceClass, 'release').filter(
    ({ leaf, root }) =>
      (leaf.generation ?? 0) >= policy.minimumGeneration &&
      !policy.retired.includes(root.fingerprint) &&
      (root.rank === 'release' || policy.retired.length > 0),
  );
  if (left.some(({ description }) => !policy.denied.includes(description.fingerprint))) return;
  throw new SealError(
    'trust-locks-out',
    `after this trust update units of class ${deviceClass.name} would believe no signer that this workspace has`,
    `make the new signer first: fieldseal signer create NAME --class ${deviceClass.name}${policy.minimumGeneration > 0 ? ` --generation ${policy.minimumGeneration}` : ''}`,
  );
}

async function write(
  request: TrustUpdateRequest,
  deviceClass: DeviceClass,
  policy: TrustPolicy,
  sealer: Sealer,
  signer: StandingSigner,
): Promise<JsonObject> {
  const { workspace, out, force = false } = request;
  finishRecords(workspace);
  const output = workspace.files.beginOutput(out, { force });
  try {
    const name = trustCounter(deviceClass.name);
    const { number } = takeNumber(workspace, { ...deviceClass, name });
    const content = encodeTrustPolicy(policy);
    const { vendorId } = workspace;
    const { classId } = deviceClass;
    const digest = sha256(content);
    const { manifest } = writeManifest(
      describePolicyUpdate({ sequenceNumber: number, vendorId, classId, content, digest }),
    );
    const sealed = digestOf(encode(manifest));
    const payload = encodeDigest(sealed);
    const blocks = await sealBlocks(sealer, payload, 0);
    const [envelope] = writeEnvelopeHead({
      digest: payload,
      blocks,
      manifest,
      severed: new Map(),
      integrated: [],
    });
    output.write(envelope!);
    output.settle();
    await requireVerifies(envelope!, sealer, payload);
    const leaves = leavesJson(leavesUsed(sealer, blocks));
    const facts = {
      format: 'fieldseal.trust-update/1',
      trial: workspace.kind === 'trial',
      class: deviceClass.name,
      number: String(number),
      made: workspace.now().toISOString(),
      minimum_generation: policy.minimumGeneration,
      denied: [...policy.denied],
      retired_roots: [...policy.retired],
      security_version: policy.securityVersion,
      signer: signerJson(signer),
      root: signer.root.name,
      rank: signer.root.spare ? 'spare' : 'release',
      manifest_digest: toHex(sealed.bytes),
      envelope: { file: basename(out), size_bytes: envelope!.length, sha256: toHex(sha256(envelope!)) },
      leaves,
    };
    writeRecord(workspace, {
      folder: FOLDER,
      name: [deviceClass.name, String(number)],
      kind: 'trust-update-made',
      facts,
      summary: {
        class: name,
        units_of: deviceClass.name,
        sequence_number: String(number),
        denied: facts.denied,
        retired_roots: facts.retired_roots,
        minimum_generation: facts.minimum_generation,
        ...(leaves.length > 0 && { leaves }),
      },
    });
    output.commit();
    return { ...facts, file: out, record: `${FOLDER}/${deviceClass.name}/${number}.json` };
  } finally {
    output.abandon();
  }
}

async function requireVerifies(envelope: Uint8Array, sealer: Sealer, payload: Uint8Array): Promise<void> {
  const [block] = openEnvelope(sourceOf(envelope)).blocks;
  if (block && (await blockVerifies(sealer, 0, decodeCose(block.bytes), payload))) return;
  throw new SealError(
    'self-check-failed',
    'the trust update does not verify; it was thrown away',
    'make it again',
  );
}

function unsound(says: string, hint: string): SealError {
  return new SealError('trust-unsound', `${says}; nothing was made`, hint);
}
