/**
 * COSE: signed, MACed and encrypted messages (RFC 9052) with the algorithms of the tables (RFC 9053, RFC 9864, RFC 9459).
 * Sign1 and Mac0 are sealed through the ports `Signer` and `MacKey`, whatever custody is behind them, and verified; Sign
 * and Mac are read and verified. Encrypt and Encrypt0 are written and opened, contents of any length piece by piece.
 * Reading throws `CoseError`; verifying and opening return a verdict.
 */
export {
  type MacAlgorithm,
  macAlgorithm,
  type SignatureAlgorithm,
  signatureAlgorithm,
} from './algorithms.ts';
export {
  type AeadAlgorithm,
  type AgreementAlgorithm,
  type ContentAlgorithm,
  contentAlgorithm,
  type DirectAlgorithm,
  type KeyDistribution,
  keyDistribution,
  type WrapAlgorithm,
} from './encryption/algorithms.ts';
export {
  type ContentKey,
  type ContentVerdict,
  type InfoVerdict,
  type OpenOptions,
  openEncrypt,
  openEncrypt0,
  openEncryptionInfo,
} from './encryption/content.ts';
export {
  decryptWhole,
  type IntegrityBasis,
  type PlaintextSink,
  type RunningDecryption,
  startDecrypt,
} from './encryption/decrypt.ts';
export {
  type EncryptParts,
  prepareEncrypt,
  type RepeatableEncryption,
  type RunningEncryption,
  sealEncrypt,
  sealEncrypt0,
  startEncrypt,
} from './encryption/encrypt.ts';
export type { RandomSource } from './encryption/fresh.ts';
export { SUIT_PAYLOAD_ENCRYPTION } from './encryption/kdf-context.ts';
export {
  type DecodeEncryptedOptions,
  decodeEncrypted,
  type Encrypt0Message,
  type EncryptedMessage,
  type EncryptMessage,
  MAX_RECIPIENTS,
} from './encryption/message.ts';
export {
  type AgreementRecipient,
  heldWrappingKey,
  publicKeyRecipient,
  type Recipient,
  type WrapRecipient,
} from './encryption/recipient.ts';
export type { EncryptionRefusal } from './encryption/refusals.ts';
export {
  type AuthenticityCheck,
  encryptMessage,
  type MessageParts,
  type MessageVerdict,
  type OpenMessageOptions,
  openMessage,
} from './encryption/signed-message.ts';
export { encryptionInfoSize, type RecipientForm, recipientSize } from './encryption/sizes.ts';
export {
  type KeyUnwrapper,
  privateKeyUnwrapper,
  type RecipientContext,
  type SharedContentKey,
  sharedKeyUnwrapper,
  type Unwrapped,
  wrappingKeyUnwrapper,
} from './encryption/unwrap.ts';
export { CoseError, type CoseErrorCode } from './error.ts';
export type { HeaderEntry, Headers } from './headers.ts';
export { type CoseKey, readCoseKey } from './key.ts';
export { LABEL, type Label } from './labels.ts';
export { COSE_LIMITS } from './limits.ts';
export {
  type CoseKind,
  type CoseMessage,
  type CoseRecipient,
  type CoseSigner,
  type DecodeCoseOptions,
  decodeCose,
  type Mac0Message,
  type MacMessage,
  type Sign1Message,
  type SignMessage,
} from './message.ts';
export {
  type HeaderParameter,
  heldMacKey,
  type MacKey,
  type SealParts,
  type Signer,
  sealMac0,
  sealSign1,
} from './seal.ts';
export { macStructure, macStructure0, signStructure, signStructure1 } from './structures.ts';
export {
  type CoseRefusal,
  type CoseVerdict,
  type VerifyOptions,
  verifyMac,
  verifyMac0,
  verifySign1,
  verifySigner,
} from './verify.ts';
