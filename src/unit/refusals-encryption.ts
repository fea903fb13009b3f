import { rowsOf } from './refusal-rows.ts';

/** Step 8, for an image that was encrypted when it was sealed. */
export const ENCRYPTION_REFUSALS = rowsOf('content', {
  'encryption-info-wrong': [
    'the encryption info is not one that the unit can follow',
    'A header that it needs is missing, out of place, or not understood. It was sealed that way.',
    'Report it to whoever sealed it.',
    'draft-ietf-suit-firmware-encryption 5; RFC 9052 5.1',
  ],
  'encryption-algorithm-not-allowed': [
    "the image is encrypted with an algorithm that is not the unit's",
    'A unit decrypts by the one algorithm of its profile: a choice left to the message could strip a tag off.',
    'Seal under the profile of the class.',
    'draft-ietf-suit-mti 5.2; RFC 9459 8',
  ],
  'recipient-missing': [
    'the image was not encrypted for this unit',
    'None of the recipients names a key that the unit holds: it is of another cohort, or was provisioned later.',
    'Seal again once the unit is on record, or for its cohort.',
    'draft-ietf-suit-firmware-encryption 5; RFC 9052 5.1',
  ],
  'content-key-wrong': [
    'the content key that was sent to this unit does not open',
    'It was wrapped under another key than the unit holds, or for another use.',
    'Compare the check value or fingerprint on record with the one of the unit, then seal again.',
    'RFC 3394 2.2.3; draft-ietf-suit-firmware-encryption 5.1, 5.2',
  ],
  'ciphertext-digest-missing': [
    'nothing says what the ciphertext in the staging area should be',
    'It waits there for a start that replaces the running image, and is compared before that.',
    'Seal with the staged template: it compares the ciphertext before it is copied.',
    'draft-ietf-suit-firmware-encryption 4.3, 7.2; RFC 9459 8',
  ],
  'ciphertext-length-wrong': [
    'the ciphertext has another length than it must have',
    'The image and the tag of the algorithm give its length exactly: it is cut short, or does not fit.',
    'Fetch the image again; compare its size with the release record.',
    'RFC 9124 4.3.6, 4.3.15; RFC 9053 4.1',
  ],
  'ciphertext-digest-wrong': [
    'the ciphertext is not the one that was sealed',
    'It was exchanged or damaged on the way. It was not decrypted.',
    'Fetch the image again; where it comes back the same, treat it as tampered with.',
    'draft-ietf-suit-firmware-encryption 4.3, 7.2; RFC 9459 8',
  ],
  'decryption-failed': [
    'the tag of the ciphertext does not fit',
    'Ciphertext, IV or content key are not those that were sealed; nothing of what came out counts.',
    'Fetch the image again; where it comes back the same, treat it as tampered with.',
    'RFC 9053 4.1, 4.3; draft-ietf-suit-firmware-encryption 7.2',
  ],
});
