/**
 * Crypto: the one place where the pure rooms meet primitive cryptography. Primitives are node:crypto's; this room
 * gives them the shapes the standards use (raw signatures, byte arrays, named key types), and builds HSS/LMS (RFC 8554),
 * which no library carries, over their SHA-256.
 */
export {
  type AeadName,
  type RunningAeadOpen,
  type RunningAeadSeal,
  startAeadOpen,
  startAeadSeal,
} from './aead.ts';
export { startAesCtr } from './aes-ctr.ts';
export { isWrappable, unwrapKeyData, wrapKeyData } from './aes-kw.ts';
export { sha256OfFile } from './file-hash.ts';
export type { SpentLeaf } from './hss-lms/leaf.ts';
export {
  type HssCost,
  type HssShape,
  hssCapacity,
  hssCost,
  hssShape,
  hssShapeNames,
  hssShapeText,
  type LevelNames,
  parseHssShape,
} from './hss-lms/shape.ts';
export { type HssOptions, type HssSecret, HssTrees, type TreeStore } from './hss-lms/sign.ts';
export type { TreeProgress } from './hss-lms/tree.ts';
export {
  type AgreementCurve,
  type AgreementPrivateKey,
  type AgreementPublicKey,
  agreementPrivateKey,
  agreeSecret,
  generateAgreementKey,
  publicCoordinates,
  readAgreementKey,
  readAgreementPrivateKey,
  x25519Spki,
} from './key-agreement.ts';
export {
  equalInConstantTime,
  hkdfSha256,
  hmacSha256,
  type RunningHash,
  randomBytes,
  sha1ForNames,
  sha256,
  startSha256,
} from './primitives.ts';
export {
  isSoundKey,
  type PublicKey,
  readPublicKey,
  readSoundKey,
  spentLeaf,
  verifySignature,
} from './public-key.ts';
export type { RunningCipher } from './running-cipher.ts';
export { ed25519Spki, hssSpki, type KeyType, p256Spki } from './spki.ts';
