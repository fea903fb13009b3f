import { rowsOf } from './refusal-rows.ts';

/** The last of step 7, for an image that comes as a delta. */
export const PRECURSOR_REFUSALS = rowsOf('fit', {
  'precursor-wrong': [
    'the delta was made against another image than the one that runs',
    'Applied to any other image it would make rubbish. It was not fetched, and the whole image was not at hand.',
    'Give the unit the whole image of the same release (--image), or a delta from what it runs.',
    'RFC 9124 4.2.10, 4.3.9; draft-ietf-suit-manifest 8.4.9.2',
  ],
  'delta-window-too-large': [
    'the delta has windows for which the unit sets no memory aside',
    'One window of the new image is made in RAM before it is programmed.',
    'Seal with the delta_window of the class; compare it with that of the unit.',
    'RFC 3284 4.3; docs/deployment-profile.md',
  ],
});

/** Step 8, for an image that comes as a delta. */
export const DELTA_REFUSALS = rowsOf('content', {
  'delta-altered': [
    'the delta is not the one that was sealed',
    'It was cut short, exchanged or damaged on the way. It was not applied.',
    'Fetch the envelope again; where it comes back the same, treat it as tampered with.',
    'RFC 9124 4.3.9; docs/deployment-profile.md',
  ],
  'delta-malformed': [
    'the delta cannot be applied',
    'It is no plain RFC 3284, or goes beyond what was announced: windows, precursor or image. It was sealed that way.',
    'Report it to whoever sealed it; the trace names what is wrong with it.',
    'RFC 3284 4, 5, 6; docs/deployment-profile.md',
  ],
});
