/**
 * Attestation: a verifier's challenge, what a unit measures for it and answers, and what the answer is worth. Tokens are
 * EATs (RFC 9711): read strictly and in bounds, written in deterministic CBOR, signed by the unit or MACed under a key of
 * their own label, and appraised claim by claim against what is on record. Pure: keys, randomness, time and flash come in
 * from outside.
 */
export {
  type Answer,
  type Attester,
  answerChallenge,
} from './answer.ts';
export type {
  AttestationAppraisal,
  AttestationBooks,
  AttestedRelease,
  AttestedUnit,
  MadeChallenge,
} from './appraisal.ts';
export {
  ATTESTATION_REFUSALS,
  type AttestationCode,
  LIMITS_OF_THE_RESULT,
} from './appraisal-rows.ts';
export { appraiseToken } from './appraise.ts';
export { type Challenge, readChallenge, writeChallenge } from './challenge.ts';
export {
  CLAIM,
  type EatClaims,
  type ResultGroup,
  TOKEN_PROFILE,
  type ToldBoot,
} from './claims.ts';
export { AttestationError, type AttestationErrorCode } from './error.ts';
export { identityOf } from './identity.ts';
export { ATTESTATION_LIMIT_TABLE, ATTESTATION_LIMITS, NONCE_BYTES } from './limits.ts';
export {
  MEASUREMENT_FORMAT,
  measure,
  type RegionMeasurement,
  readMeasurement,
  writeMeasurement,
} from './measurement.ts';
export { readClaims } from './read-claims.ts';
export {
  CHALLENGE_REFUSALS,
  type ChallengeRefusal,
  type RegionRequest,
  resolveRegion,
} from './regions.ts';
export { openToken, sealToken, TOKEN_TYPE, TYPE_LABEL } from './token.ts';
export { writeClaims } from './write-claims.ts';
