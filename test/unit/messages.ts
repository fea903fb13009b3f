/** Envelopes of Hollin Ridge, an invented maker, encrypted for sending. Test keys. */
import {
  type AeadAlgorithm,
  contentAlgorithm,
  encryptMessage,
  heldMacKey,
  LABEL,
  type Recipient,
  sealEncrypt,
} from '../../src/cose/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type { TestChain } from '../x509/support.ts';
import { CLASS_KEY, signerOf, x5chain } from './maker.ts';

const A128GCM = contentAlgorithm('A128GCM') as AeadAlgorithm;
const MEDIA_TYPE = 'application/suit-envelope+cose';

/** Encrypted to the recipients, and signed by the chain's signer. */
export function messageAround(
  envelope: Uint8Array,
  { signer, intermediate, keys }: TestChain,
  recipients: readonly Recipient[],
): Promise<Uint8Array> {
  return encryptMessage({
    plaintext: envelope,
    contentType: MEDIA_TYPE,
    encryption: { recipients, algorithm: A128GCM },
    authenticator: signerOf(keys.signer),
    protectedHeaders: [[LABEL.x5t, [-16, sha256(signer.der)]]],
    unprotectedHeaders: [[LABEL.x5chain, x5chain(signer.der, intermediate.der)]],
  });
}

/** Encrypted to the recipients, and MACed with the class key or another. */
export function macedMessage(
  envelope: Uint8Array,
  recipients: readonly Recipient[],
  { id, key } = CLASS_KEY,
): Promise<Uint8Array> {
  return encryptMessage({
    plaintext: envelope,
    contentType: MEDIA_TYPE,
    encryption: { recipients, algorithm: A128GCM },
    authenticator: heldMacKey(id, key),
  });
}

/** What anyone can make who knows the public key of a unit. */
export function strangersEncryption(recipient: Recipient): Promise<Uint8Array> {
  return sealEncrypt({ algorithm: A128GCM, recipients: [recipient], plaintext: new Uint8Array(300) });
}
