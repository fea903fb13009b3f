/**
 * Keys: where private and secret keys live, and how they are made, opened and used. Three custodies stand
 * behind the ports `Signer` and `MacKey` of the COSE room: encrypted files, PKCS#11 tokens, and a machine
 * without network, which takes requests and gives certificates. Secrets come in through `SecretSource`, never
 * as arguments.
 */
export { requireProductionKey } from './admission.ts';
export {
  type ContentKeyAlgorithm,
  type CustodyRecipient,
  createContentKey,
  openContentKey,
  wrapContentKey,
} from './content.ts';
export {
  createMacKey,
  createSigningKey,
  openApprover,
  openMacKey,
  openRoot,
  openSigner,
  withMacSecret,
} from './custody.ts';
export { type KeyDescription, readKeyDescription } from './description.ts';
export { KeyError, type KeyErrorCode } from './error.ts';
export type { KeyEvidence } from './evidence.ts';
export { readTextFile, writeNewFile } from './files.ts';
export { checkValue, fingerprintMatches } from './fingerprint.ts';
export { createHssSigner } from './hss/custody.ts';
export {
  readReplyFile,
  readRequestFile,
  readRootFile,
  writeReplyFile,
  writeRequestFile,
} from './offline.ts';
export type {
  CustodyMacKey,
  CustodySigner,
  KeyAccess,
  KeyPlace,
  KeyProgress,
  LeafSource,
  MadeKey,
} from './ports.ts';
export {
  createSecretSource,
  type PassphraseRequest,
  type PinRequest,
  readSecretLine,
  requireStrength,
  type SecretOptions,
  type SecretSource,
  withSecret,
} from './secrets.ts';
export { generatePrivateKey, publicHalf, softwareMacKey, softwareSigner } from './software.ts';
export {
  createWrappingKey,
  type WrappedKey,
  withUnwrappedKey,
  wrapMacKey,
} from './station.ts';
export { inspectTokenKey } from './token/custody.ts';
export { formatTokenUri, parseTokenUri } from './token/uri.ts';
export {
  openUnitKey,
  openUnitSecret,
  openUnitSigner,
  protectUnitKey,
  protectUnitSecret,
  unitSigner,
} from './unit-secret.ts';
export { unwrapKey, wrapKey } from './wrap.ts';
