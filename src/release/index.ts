/**
 * Release: from a firmware file to a sealed payload on record. Takes the image, the class, the number and the key,
 * and gives an envelope that a unit, or a stranger's processor, can check; what it needs of the root is its public half.
 */
export { SEAL_CODES, type SealCode, SealError } from './error.ts';
export type { ImageInput, SealProgress, SealRequest } from './request.ts';
export { type Sealed, seal } from './seal.ts';
export { anchorsOf, type ChosenSigner, chooseSigner } from './signer.ts';
