/**
 * COSE: signed and MACed messages (RFC 9052) with the algorithms of the tables (RFC 9053, RFC 9864). Sign1 and Mac0 are
 * sealed through the ports `Signer` and `MacKey`, whatever custody is behind them, and verified; Sign and Mac are read
 * and verified. Reading throws `CoseError`; verifying returns a verdict.
 */
export {
  type MacAlgorithm,
  macAlgorithm,
  type SignatureAlgorithm,
  signatureAlgorithm,
} from './algorithms.ts';
export { CoseError, type CoseErrorCode } from './error.ts';
export type { HeaderEntry, Headers } from './headers.ts';
export { type CoseKey, readCoseKey } from './key.ts';
export { LABEL, type Label } from './labels.ts';
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
