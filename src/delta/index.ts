/**
 * Deltas: small updates over thin links as VCDIFF (RFC 3284), plain: the default code table, no secondary compression,
 * no data outside the RFC. Applied window by window within fixed bounds, as a microcontroller device does; made so
 * that such a device can. Knows nothing of digests: whoever applies a delta checks the precursor before and the new
 * image after.
 */
export { applyDelta, type DeltaTarget } from './apply.ts';
export { DELTA_ERROR_CODES, DeltaError, type DeltaErrorCode } from './errors.ts';
export { DELTA_LIMITS, type DeltaLimits } from './limits.ts';
export { DEFAULT_WINDOW_SIZE, makeDelta } from './make.ts';
export { deltaSource } from './source.ts';
export { type DeltaSurvey, surveyDelta } from './survey.ts';
