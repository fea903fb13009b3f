import {
  type CoseMessage,
  decodeCose,
  type HeaderParameter,
  LABEL,
  macStructure0,
  sealMac0,
  sealSign1,
  verifySign1,
} from '../cose/index.ts';
import { equalInConstantTime, readPublicKey, sha256 } from '../crypto/index.ts';
import {
  type CustodyMacKey,
  type CustodySigner,
  type KeyAccess,
  type KeyDescription,
  openMacKey,
  openSigner,
} from '../keys/index.ts';
import { SHA_256 } from '../suit/index.ts';
import { SECURITY_VERSION_LABEL, type Standing } from '../unit/index.ts';
import {
  type ClassKey,
  classKeys,
  type DeviceClass,
  keyPaths,
  type LeafUse,
  leafUsesOf,
  leavesFor,
  type Workspace,
} from '../workspace/index.ts';
import { SealError } from './error.ts';
import type { KeyRequest, SealRequest } from './request.ts';
import { type ChosenSigner, chooseSigners } from './signer.ts';

/** A signer, and its key, open. */
export interface Hand {
  readonly chosen: ChosenSigner;
  readonly key: CustodySigner;
}

/** The keys of a release, open, and the certificates that go with them. */
export type Sealer =
  | { readonly kind: 'signature'; readonly hands: readonly Hand[]; readonly standing: Standing | undefined }
  | {
      readonly kind: 'mac';
      readonly keys: readonly { readonly classKey: ClassKey; readonly key: CustodyMacKey }[];
    };

/**
 * Opens what seals for a class: the signers, or every class and cohort key. Asks for passphrases and PINs, so it
 * comes before anything is used up. Throws `SealError`, `KeyError`, `WorkspaceError`.
 */
export async function openSealer(
  request: KeyRequest & Pick<SealRequest, 'signers' | 'unfinished'>,
  deviceClass: DeviceClass,
): Promise<Sealer> {
  const { workspace } = request;
  if (deviceClass.scheme === 'asymmetric') {
    const { signers = [], unfinished = false } = request;
    const chosen = chooseSigners(workspace, deviceClass, signers, unfinished);
    return {
      kind: 'signature',
      hands: await openHands(request, chosen.signers),
      standing: chosen.standing,
    };
  }
  const held = requireMacKeys(workspace, deviceClass);
  const keys: { classKey: ClassKey; key: CustodyMacKey }[] = [];
  try {
    for (const classKey of held) {
      const { description } = classKey;
      keys.push({ classKey, key: await openMacKey(description, accessTo(request, description)) });
    }
    return { kind: 'mac', keys };
  } catch (error) {
    for (const { key } of keys) key.close();
    throw error;
  }
}

/**
 * As `openSealer`, for what is sealed around an envelope: one signer of the profile's algorithm, whatever the policy of
 * the class asks for inside, or the MAC keys.
 */
export function openSender(
  request: KeyRequest & { readonly signer?: string | undefined },
  deviceClass: DeviceClass,
): Promise<Sealer> {
  const { signer } = request;
  const signers = signer === undefined ? [] : [signer];
  return openSealer({ ...request, signers }, { ...deviceClass, policy: undefined });
}

/** Opens the keys of signers, all or none. */
export async function openHands(request: KeyRequest, signers: readonly ChosenSigner[]): Promise<Hand[]> {
  const hands: Hand[] = [];
  try {
    for (const chosen of signers) {
      const { description } = chosen;
      hands.push({ chosen, key: await openSigner(description, accessTo(request, description)) });
    }
    return hands;
  } catch (error) {
    for (const { key } of hands) key.close();
    throw error;
  }
}

/** Ends token sessions. */
export function closeSealer(sealer: Sealer): void {
  for (const { key } of sealer.kind === 'signature' ? sealer.hands : sealer.keys) key.close();
}

function accessTo(request: KeyRequest, description: KeyDescription): KeyAccess {
  const { workspace, secrets, module } = request;
  return {
    file: keyPaths(workspace, description.name).secret,
    secrets,
    production: workspace.kind === 'production',
    module,
    leaves: leavesFor(workspace, description),
    progress: (done, total) => request.growing?.(done, total),
  };
}

function requireMacKeys(workspace: Workspace, { name }: DeviceClass): ClassKey[] {
  const keys = classKeys(workspace, name);
  if (keys.length > 0) return keys;
  throw new SealError(
    'mac-key-none',
    `class ${name} is symmetric and has no class key`,
    `make one: fieldseal class-key create ${name}`,
  );
}

/**
 * The authentication blocks over the encoded digest of the manifest (SUIT manifest section 8.3): one COSE_Sign1 per
 * signer with x5t in the protected header and x5chain beside it (RFC 9360 section 2), or one COSE_Mac0 per key. The security
 * version stands in the protected header (docs/deployment-profile.md), absent where it is 0.
 */
export async function sealBlocks(
  sealer: Sealer,
  payload: Uint8Array,
  securityVersion: number,
): Promise<Uint8Array[]> {
  const security: HeaderParameter[] =
    securityVersion === 0 ? [] : [[SECURITY_VERSION_LABEL, securityVersion]];
  const blocks: Uint8Array[] = [];
  if (sealer.kind === 'signature') {
    for (const hand of sealer.hands) blocks.push(await signBlock(hand, payload, security));
    return blocks;
  }
  for (const { key } of sealer.keys)
    blocks.push(await sealMac0(key, { payload, protectedHeaders: security }));
  return blocks;
}

/** The headers that bind a signature to its certificate and bring the chain along (RFC 9360 section 2). */
export function signatureHeaders({ leaf, chain }: Pick<ChosenSigner, 'leaf' | 'chain'>): {
  readonly protectedHeaders: HeaderParameter[];
  readonly unprotectedHeaders: HeaderParameter[];
} {
  const ders = chain.map(({ der }) => der);
  return {
    protectedHeaders: [[LABEL.x5t, [SHA_256, sha256(leaf.der)]]],
    unprotectedHeaders: [[LABEL.x5chain, ders.length === 1 ? ders[0]! : ders]],
  };
}

async function signBlock(
  { chosen, key }: Hand,
  payload: Uint8Array,
  security: readonly HeaderParameter[],
): Promise<Uint8Array> {
  const { protectedHeaders, unprotectedHeaders } = signatureHeaders(chosen);
  return sealSign1(key, {
    payload,
    protectedHeaders: [...protectedHeaders, ...security],
    unprotectedHeaders,
  });
}

/** What the signatures in the blocks used up of a key that signs a limited number of times, for the record. */
export function leavesUsed(sealer: Sealer, blocks: readonly Uint8Array[]): LeafUse[] {
  if (sealer.kind === 'mac') return [];
  return blocks.flatMap((bytes, i) => {
    const block = decodeCose(bytes);
    return block.kind === 'sign1' ? leafUsesOf(sealer.hands[i]!.chosen.description, block.signature) : [];
  });
}

/** Whether a block, as read back, is a valid seal of one of the keys over the payload. */
export async function blockVerifies(
  sealer: Sealer,
  index: number,
  block: CoseMessage,
  payload: Uint8Array,
): Promise<boolean> {
  if (sealer.kind === 'signature') {
    const hand = sealer.hands[index];
    const publicKey = hand && readPublicKey(hand.chosen.leaf.spki);
    return block.kind === 'sign1' && publicKey !== undefined && verifySign1(block, publicKey, payload).ok;
  }
  const held = sealer.keys[index];
  if (block.kind !== 'mac0' || !held) return false;
  return equalInConstantTime(
    block.tagBytes,
    await held.key.mac(macStructure0(block.headers.protectedBytes, payload)),
  );
}
