/**
 * Release: from a firmware file to a sealed payload on record. Takes the image, the class, the number and the key,
 * and gives an envelope that a unit, or a stranger's processor, can check; what it needs of the root is its public half.
 */
export { type AddSignatureRequest, addSignature } from './add-signature.ts';
export { SealError } from './error.ts';
export { encryptEnvelope, type MessageRequest } from './message.ts';
export { type RecipientWeight, weighRecipients, weightJson, weightOf } from './recipients.ts';
export type { ImageInput, SealProgress, SealRequest } from './request.ts';
export { seal } from './seal.ts';
