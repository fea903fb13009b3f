import {
  type CoseMessage,
  type CoseVerdict,
  type Headers,
  LABEL,
  type SignMessage,
  verifyMac,
  verifyMac0,
  verifySign1,
  verifySigner,
} from '../../cose/index.ts';
import type { PublicKey } from '../../crypto/index.ts';
import { SECURITY_VERSION_LABEL } from '../security-version.ts';

/** One signature that an envelope carries. Its headers name the algorithm and the signer. */
export interface SignatureSeal {
  /** Index of its block in the envelope. */
  readonly block: number;
  readonly headers: Headers;
  verify(key: PublicKey, digest: Uint8Array): CoseVerdict<unknown>;
}

/** One MAC that an envelope carries. Its headers name the algorithm and perhaps the key. */
export interface MacSeal {
  /** Index of its block in the envelope. */
  readonly block: number;
  readonly headers: Headers;
  verify(key: Uint8Array, digest: Uint8Array): CoseVerdict<unknown>;
}

/** Headers that are acted upon here, so that a sender may mark them as critical. */
const UNDERSTOOD = { understood: [LABEL.x5chain, LABEL.x5t, SECURITY_VERSION_LABEL] };

/** All signatures of the blocks, in order: one of each COSE_Sign1, one of each signer of a COSE_Sign. */
export function signaturesOf(blocks: readonly CoseMessage[]): SignatureSeal[] {
  const seals: SignatureSeal[] = [];
  for (const [block, message] of blocks.entries()) {
    if (message.kind === 'sign1') {
      const { headers } = message;
      seals.push({ block, headers, verify: (key, digest) => verifySign1(message, key, digest, UNDERSTOOD) });
    } else if (message.kind === 'sign') seals.push(...signersOf(message, block));
  }
  return seals;
}

function signersOf(message: SignMessage, block: number): SignatureSeal[] {
  return message.signers.map((signer) => ({
    block,
    headers: signer.headers,
    verify: (key, digest) => verifySigner(message, signer, key, digest, UNDERSTOOD),
  }));
}

/** All MACs of the blocks, in order. */
export function macsOf(blocks: readonly CoseMessage[]): MacSeal[] {
  return blocks.flatMap((message, block): MacSeal[] => {
    const { headers } = message;
    if (message.kind === 'mac0') {
      return [{ block, headers, verify: (key, digest) => verifyMac0(message, key, digest, UNDERSTOOD) }];
    }
    if (message.kind !== 'mac') return [];
    return [{ block, headers, verify: (key, digest) => verifyMac(message, key, digest, UNDERSTOOD) }];
  });
}

/** The COSE algorithm that protected headers name: undefined where they name none, or name it by a text. */
export function protectedAlgorithm(headers: Headers): number | undefined {
  const item = headers.protectedGet(LABEL.alg);
  const named = item?.type === 'uint' || item?.type === 'nint' ? Number(item.value) : undefined;
  return Number.isSafeInteger(named) ? named : undefined;
}
