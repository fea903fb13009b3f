import {
  type CoseMessage,
  type CoseVerdict,
  type Headers,
  LABEL,
  verifyMac,
  verifyMac0,
  verifySign1,
  verifySigner,
} from '../../cose/index.ts';
import type { PublicKey } from '../../crypto/index.ts';
import { SECURITY_VERSION_LABEL } from '../security-version.ts';

/** One signature that an envelope carries. Its headers name the algorithm and the signer. */
export interface SignatureSeal {
  readonly headers: Headers;
  verify(key: PublicKey, digest: Uint8Array): CoseVerdict<unknown>;
}

/** One MAC that an envelope carries. Its headers name the algorithm and perhaps the key. */
export interface MacSeal {
  readonly headers: Headers;
  verify(key: Uint8Array, digest: Uint8Array): CoseVerdict<unknown>;
}

/** Headers that are acted upon here, so that a sender may mark them as critical. */
const UNDERSTOOD = { understood: [LABEL.x5chain, LABEL.x5t, SECURITY_VERSION_LABEL] };

/** All signatures of the blocks, in order: one of each COSE_Sign1, one of each signer of a COSE_Sign. */
export function signaturesOf(blocks: readonly CoseMessage[]): SignatureSeal[] {
  return blocks.flatMap((block): SignatureSeal[] => {
    if (block.kind === 'sign1') {
      const { headers } = block;
      return [{ headers, verify: (key, digest) => verifySign1(block, key, digest, UNDERSTOOD) }];
    }
    if (block.kind !== 'sign') return [];
    return block.signers.map((signer) => ({
      headers: signer.headers,
      verify: (key, digest) => verifySigner(block, signer, key, digest, UNDERSTOOD),
    }));
  });
}

/** All MACs of the blocks, in order. */
export function macsOf(blocks: readonly CoseMessage[]): MacSeal[] {
  return blocks.flatMap((block): MacSeal[] => {
    const { headers } = block;
    if (block.kind === 'mac0') {
      return [{ headers, verify: (key, digest) => verifyMac0(block, key, digest, UNDERSTOOD) }];
    }
    if (block.kind !== 'mac') return [];
    return [{ headers, verify: (key, digest) => verifyMac(block, key, digest, UNDERSTOOD) }];
  });
}

/** The COSE algorithm that protected headers name: undefined where they name none, or name it by a text. */
export function protectedAlgorithm(headers: Headers): number | undefined {
  const item = headers.protectedGet(LABEL.alg);
  const named = item?.type === 'uint' || item?.type === 'nint' ? Number(item.value) : undefined;
  return Number.isSafeInteger(named) ? named : undefined;
}
