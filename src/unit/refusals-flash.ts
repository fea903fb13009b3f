import { rowsOf } from './refusal-rows.ts';
import { DELTA_REFUSALS } from './refusals-delta.ts';
import { ENCRYPTION_REFUSALS } from './refusals-encryption.ts';

const CONTENT = rowsOf('content', {
  'severed-part-missing': [
    'a part that was severed from the manifest is not in the envelope',
    'The step that needs it cannot run; a missing part is not an empty one.',
    'Deliver the envelope with all its parts.',
    'draft-ietf-suit-manifest 8.4.6, 8.4.12',
  ],
  'severed-part-wrong': [
    'a severed part is not the one that was sealed',
    'Its digest differs from the one in the manifest: it was exchanged or damaged.',
    'Fetch the envelope again; where it comes back the same, treat it as tampered with.',
    'draft-ietf-suit-manifest 8.4.12; RFC 9124 4.3.4',
  ],
  'install-missing': [
    'the manifest does not say how to install',
    'It describes how to start an image that is there already, and brings none.',
    'Seal with an install sequence.',
    'draft-ietf-suit-manifest 5.3.3, 7.2',
  ],
  'install-failed': [
    'the install sequence cannot be carried out on this unit',
    'It ends in a failed condition, moves an image where none may go, or leaves the free slot without one.',
    'Seal with the templates for the memory map of the class.',
    'draft-ietf-suit-manifest 6.4, 7.2, 7.7; RFC 9124 4.3.6',
  ],
  'wait-not-over': [
    'the manifest waits for something that has not come yet',
    'A time has not come, or it is nothing that this unit can tell. Nothing was programmed.',
    'Offer it again later; a unit can only wait for a time, and only with a clock that it trusts.',
    'draft-ietf-suit-update-management 4.5, 5.6',
  ],
  'image-source-missing': [
    'the manifest does not say where the image comes from',
    'A fetch needs a URI; a unit never takes the place from the transport.',
    'Seal with a URI or an integrated image.',
    'draft-ietf-suit-manifest 8.4.8.10, 8.4.10.4; RFC 9124 4.3.7',
  ],
  'payload-missing': [
    'the manifest names an integrated image that is not in the envelope',
    'The image was taken out on the way, or was never put in.',
    'Fetch the whole envelope.',
    'draft-ietf-suit-manifest 7.5, 8.5',
  ],
  'flash-failed': [
    'the slot did not take what was written to it',
    'Erasing or programming failed, as it does on worn or broken flash.',
    'Read the wear count; the unit may need service. The running image is untouched.',
    'RFC 9019 3; draft-ietf-suit-manifest 6.3.1',
  ],
});

const IMAGE = rowsOf('image', {
  'image-length-wrong': [
    'the image has another length than the one that was sealed',
    'It is cut short, or something was added behind it.',
    'Fetch the image again; compare its size with the release record.',
    'docs/deployment-profile.md; RFC 9124 4.3.15',
  ],
  'image-digest-wrong': [
    'the image is not the one that was sealed',
    'It was exchanged or damaged, or it belongs to another release.',
    'Fetch the image again; where it comes back the same, treat it as tampered with.',
    'draft-ietf-suit-manifest 8.4.9.2; RFC 9124 4.3.4, 4.3.15',
  ],
});

const COMMIT = rowsOf('commit', {
  'mark-not-written': [
    'the mark that makes the slot ready could not be written',
    'The state area is worn or broken. The image in the slot is good, but it does not count as installed.',
    'Install again; where that fails too, the unit needs service.',
    'draft-ietf-suit-manifest 6.3.1; RFC 9019 3',
  ],
});

/** Steps 8 to 10: what is brought in, what it turns out to be, and the mark that makes it count. */
export const FLASH_REFUSALS = { ...CONTENT, ...ENCRYPTION_REFUSALS, ...DELTA_REFUSALS, ...IMAGE, ...COMMIT };

const START = rowsOf('start', {
  'stored-envelope-wrong': [
    'the envelope that was kept with the image is damaged',
    'Without it nothing says what the image should be; the slot is passed over.',
    'Install the release again.',
    'draft-ietf-suit-manifest 4.2, 8.3',
  ],
  'stored-signer-wrong': [
    'the signer of what is in the slot is not one that the unit trusts',
    'The kept envelope was changed, or the root of the unit was.',
    'Install a release sealed under the root of the unit.',
    'draft-ietf-suit-manifest 4.2; RFC 5280 6.1',
  ],
  'stored-authentication-wrong': [
    'the seal of what is in the slot does not verify',
    'The kept envelope was changed after it was installed.',
    'Install the release again, and find out who could write to the flash.',
    'draft-ietf-suit-manifest 4.2; RFC 9124 4.3.8',
  ],
  'stored-manifest-wrong': [
    'the manifest of what is in the slot cannot be carried out',
    'The unit does not understand it; it was installed by other software.',
    'Install a release sealed for this class.',
    'draft-ietf-suit-manifest 6.1',
  ],
  'stored-identity-wrong': [
    'what is in the slot is not meant for this unit',
    'The flash was copied from another unit, or the record of this unit was changed.',
    'Install the release for this class.',
    'draft-ietf-suit-manifest 4.2; RFC 9124 4.3.2',
  ],
  'stored-version-below-floor': [
    'what is in the slot has a security version below the floor',
    'The unit gave its word never to run firmware from before a fix.',
    'Install a release at or above the floor.',
    'docs/deployment-profile.md (common practice); RFC 9124 4.2.1',
  ],
  'stored-image-wrong': [
    'the image in the slot is not the one that was sealed',
    'The memory that would run was changed or is failing.',
    'Install the release again; where it happens again, the flash needs service.',
    'draft-ietf-suit-manifest 4.2, 7.2; RFC 9124 4.3.8',
  ],
  'stored-decryption-wrong': [
    'what waits in the staging area cannot be decrypted',
    'The content key that was sent with it no longer opens: the keys of the unit were changed.',
    'Install the release again, sealed for the keys that the unit holds now.',
    'draft-ietf-suit-firmware-encryption 4, 5',
  ],
  'stored-start-failed': [
    'the manifest of what is in the slot does not lead to a start',
    'Its validate or invoke sequence is missing or does not end in running the image of this slot.',
    'Seal with the start-up template for the memory map of the class.',
    'draft-ietf-suit-manifest 5.3.3, 7.2',
  ],
  'marks-unreadable': [
    'the marks of the slot were not written by this unit, or not to their end',
    'A slot counts only by marks that the unit itself made; the slot is passed over.',
    'Install the release again.',
    'docs/deployment-profile.md; draft-ietf-suit-manifest 6.3.1',
  ],
  'nothing-to-start': [
    'no slot holds firmware that may run',
    'Every slot was passed over for the reason in its own line; the unit stays in its boot code.',
    'Install a release; a unit with a recovery image fetches one by itself.',
    'RFC 9019 4.1',
  ],
});

const KEEP = rowsOf('keep', {
  'nothing-on-trial': [
    'no image is on trial',
    'There is nothing to keep: the running image is kept already, or the new one has not started yet.',
    'Start the unit first, then keep.',
    'docs/deployment-profile.md',
  ],
  'trial-ran-out': [
    'the image on trial was not kept before the next start',
    'It failed its self-test or never ran it; the unit returned to the former image and remembers the one that failed.',
    'Repair the firmware and seal it with the next number.',
    'RFC 9019 4.1; docs/deployment-profile.md',
  ],
  'floor-would-strand': [
    'raising the floor would leave the unit without an image that may start',
    'The floor stays where it is: a unit that cannot start helps nobody.',
    'Install and keep an image at or above the new floor first.',
    'RFC 9019 4.1; docs/deployment-profile.md',
  ],
});

/** Steps 11 and 12: what may run, and what may stay. */
export const START_REFUSALS = { ...START, ...KEEP };
