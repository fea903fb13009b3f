/**
 * Release: from a firmware file to a sealed payload on record. Takes the image, the class, the number and the key,
 * and gives an envelope that a unit, or a stranger's processor, can check; what it needs of the root is its public half.
 */
export { type AddSignatureRequest, addSignature } from './add-signature.ts';
export { type ApproveRequest, approve } from './approval/approve.ts';
export { type FreezeRequest, freezeRequest } from './approval/freeze.ts';
export { listRequests, requestsJson } from './approval/list.ts';
export { type OpenedRequest, openRequest } from './approval/open.ts';
export { requestJson } from './approval/request-json.ts';
export { type Withdrawn, withdraw } from './approval/withdraw.ts';
export { SealError } from './error.ts';
export { encryptEnvelope, type MessageRequest } from './message.ts';
export { type RecipientWeight, weighRecipients, weightJson, weightOf } from './recipients.ts';
export type { ComponentInput, ImageInput, SealProgress, SealRequest } from './request.ts';
export { type Sealed, seal, sealApproved } from './seal.ts';
export { standingSigners } from './trust-signer.ts';
export { latestPolicy, makeTrustUpdate, trustUpdates } from './trust-update.ts';
export { type EnvelopeForm, type EnvelopeWeight, type SealForm, weighEnvelope } from './weigh.ts';
