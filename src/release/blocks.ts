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
import { SECURITY_VERSION_LABEL } from '../unit/index.ts';
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
import type { SealRequest } from './request.ts';
import { type ChosenSigner, chooseSigner } from './signer.ts';

/** What the opening of keys needs of a request. */
type KeyRequest = Pick<SealRequest, 'workspace' | 'signer' | 'secrets' | 'module' | 'growing'>;

/** The keys of a release, open, and the certificates that go with them. */
export type Sealer =
  | { readonly kind: 'signature'; readonly chosen: ChosenSigner; readonly key: CustodySigner }
  | {
      readonly kind: 'mac';
      readonly keys: readonly { readonly classKey: ClassKey; readonly key: CustodyMacKey }[];
    };

/**
 * Opens what seals for a class: the signer, or every class and cohort key. Asks for passphrases and PINs, so it
 * comes before anything is used up. Throws `SealError`, `KeyError`, `WorkspaceError`.
 */
export async function openSealer(request: KeyRequest, deviceClass: DeviceClass): Promise<Sealer> {
  const { workspace } = request;
  if (deviceClass.scheme === 'asymmetric') {
    const chosen = chooseSigner(workspace, deviceClass, request.signer);
    return {
      kind: 'signature',
      chosen,
      key: await openSigner(chosen.description, accessTo(request, chosen.description)),
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

/** Ends token sessions. */
export function closeSealer(sealer: Sealer): void {
  if (sealer.kind === 'signature') sealer.key.close();
  else for (const { key } of sealer.keys) key.close();
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
 * The authentication blocks over the encoded digest of the manifest (SUIT manifest section 8.3): one COSE_Sign1 with
 * x5t in the protected header and x5chain beside it (RFC 9360 section 2), or one COSE_Mac0 per key. The security
 * version stands in the protected header (docs/deployment-profile.md), absent where it is 0.
 */
export async function sealBlocks(
  sealer: Sealer,
  payload: Uint8Array,
  securityVersion: number,
): Promise<Uint8Array[]> {
  const security: HeaderParameter[] =
    securityVersion === 0 ? [] : [[SECURITY_VERSION_LABEL, securityVersion]];
  if (sealer.kind === 'signature') {
    const { protectedHeaders, unprotectedHeaders } = signatureHeaders(sealer.chosen);
    const block = await sealSign1(sealer.key, {
      payload,
      protectedHeaders: [...protectedHeaders, ...security],
      unprotectedHeaders,
    });
    return [block];
  }
  const blocks: Uint8Array[] = [];
  for (const { key } of sealer.keys)
    blocks.push(await sealMac0(key, { payload, protectedHeaders: security }));
  return blocks;
}

/** The headers that bind a signature to its certificate and bring the chain along (RFC 9360 section 2). */
export function signatureHeaders({ leaf, chain }: ChosenSigner): {
  readonly protectedHeaders: HeaderParameter[];
  readonly unprotectedHeaders: HeaderParameter[];
} {
  const ders = chain.map(({ der }) => der);
  return {
    protectedHeaders: [[LABEL.x5t, [SHA_256, sha256(leaf.der)]]],
    unprotectedHeaders: [[LABEL.x5chain, ders.length === 1 ? ders[0]! : ders]],
  };
}

/** What the signatures in the blocks used up of a key that signs a limited number of times, for the record. */
export function leavesUsed(sealer: Sealer, blocks: readonly Uint8Array[]): LeafUse[] {
  if (sealer.kind === 'mac') return [];
  return blocks.flatMap((bytes) => {
    const block = decodeCose(bytes);
    return block.kind === 'sign1' ? leafUsesOf(sealer.chosen.description, block.signature) : [];
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
    const publicKey = readPublicKey(sealer.chosen.leaf.spki);
    return block.kind === 'sign1' && publicKey !== undefined && verifySign1(block, publicKey, payload).ok;
  }
  const held = sealer.keys[index];
  if (block.kind !== 'mac0' || !held) return false;
  return equalInConstantTime(
    block.tagBytes,
    await held.key.mac(macStructure0(block.headers.protectedBytes, payload)),
  );
}
