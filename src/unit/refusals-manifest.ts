import { rowsOf } from './refusal-rows.ts';

/** Step 4: whether every instruction is understood. */
export const MANIFEST_REFUSALS = rowsOf('manifest', {
  'manifest-version-unknown': [
    'the manifest is of another version of the format',
    'The unit reads version 1 and cannot know what another one means.',
    'Seal as version 1.',
    'draft-ietf-suit-manifest 6.1, 8.4.1',
  ],
  'manifest-malformed': [
    'the manifest does not have the form that the standard gives it',
    'It was sealed that way: the digest is right, so it is a fault of the sender and not of the way.',
    'Report it to whoever sealed it; inspect shows the byte where it goes wrong.',
    'draft-ietf-suit-manifest 8.4, App. A',
  ],
  'manifest-element-unknown': [
    'the manifest has an element that the unit does not know',
    'An element that is not understood may change the meaning of the rest.',
    'Seal without it for this unit.',
    'draft-ietf-suit-manifest 8.4, 11.2',
  ],
  'manifest-element-unsupported': [
    'the manifest has an element that the unit knows and does not carry out',
    'Dependencies and the like need abilities that this unit was not built with.',
    'Seal without it for this unit.',
    'draft-ietf-suit-manifest 6.2; draft-ietf-suit-trust-domains 5.1',
  ],
  'command-unknown': [
    'the manifest holds a command that the unit does not know',
    'All sequences are read before any runs; one unknown command excludes the whole manifest.',
    'Seal without it for this unit.',
    'draft-ietf-suit-manifest 6.1, 6.2; draft-ietf-suit-update-management 1',
  ],
  'command-unsupported': [
    'the manifest holds a command that the unit knows and does not carry out',
    'A standard defines it, but this unit was not built with it.',
    'Seal without it for this unit.',
    'draft-ietf-suit-manifest 6.1, 8.5; draft-ietf-suit-update-management 1',
  ],
  'command-misplaced': [
    'a command stands where it may not',
    'The shared sequence may only test and set; directives and custom commands have no place there.',
    'Report it to whoever sealed it.',
    'draft-ietf-suit-manifest 5.3.2, 6.2, App. A',
  ],
  'parameter-unknown': [
    'the manifest sets a parameter that the unit does not know',
    'One unknown parameter excludes the whole manifest.',
    'Seal without it for this unit.',
    'draft-ietf-suit-manifest 6.1, 8.4.8',
  ],
  'parameter-unsupported': [
    'the manifest sets a parameter that the unit knows and does not use',
    'A standard defines it (what to wait for, for example), but this unit was not built with it.',
    'Seal without it for this unit.',
    'draft-ietf-suit-manifest 6.1, 8.4.8',
  ],
  'manifest-digest-algorithm-unknown': [
    'the manifest holds a digest of an algorithm that the unit does not have',
    'The unit could compare neither the image nor a severed part with it.',
    'Seal with SHA-256 (-16).',
    'draft-ietf-suit-manifest 10; draft-ietf-suit-mti 3',
  ],
  'severed-part-unexpected': [
    'the envelope carries a part for which the manifest has no digest',
    'Nothing vouches for the part: it was added after sealing, or belongs to another manifest.',
    'Fetch the envelope again; where it comes back the same, treat it as tampered with.',
    'draft-ietf-suit-manifest 5.5, 8.4.12; RFC 9124 4.3.4',
  ],
  'component-not-permitted': [
    'no signer of the payload has a right to a component that the manifest changes or starts',
    'The access control list of the unit gives the signers other components. Genuine, but beyond their rights.',
    'Have it signed by whoever answers for the component, or provision the right.',
    'draft-ietf-suit-manifest 9; RFC 9124 4.3.13',
  ],
  'command-not-permitted': [
    'no signer of the payload has a right to a command that the manifest gives',
    'The access control list of the unit gives the signers the component, but not this command on it.',
    'Have it signed by whoever has the right, or leave the command out.',
    'draft-ietf-suit-manifest 9; RFC 9124 4.3.13',
  ],
  'component-not-for-purpose': [
    'the signer may not change this component: its certificate is for the other purpose',
    'Who seals releases must not say whom units believe, and who signs trust updates must not seal firmware.',
    'Have it sealed by a signer of that purpose (fieldseal signer create --purpose); if nobody of yours did this, treat the key as leaked.',
    'draft-ietf-suit-manifest 9; RFC 9124 4.3.13; docs/deployment-profile.md',
  ],
  'policy-malformed': [
    'the policy in the trust update is not in its form',
    'A unit that took half a policy would believe the wrong signers.',
    'Make it again: fieldseal trust-update make.',
    'docs/deployment-profile.md; draft-ietf-suit-manifest 8.4.8.9',
  ],
  'retirement-not-permitted': [
    'the trust update retires a root and is not signed below a spare root',
    'A root that leaked could otherwise retire the one that is to replace it.',
    'Sign it by a trust signer below the spare root; where none was provisioned, only service can change the root.',
    'docs/deployment-profile.md; RFC 9124 4.3.18',
  ],
  'dependency-missing': [
    'a manifest that this one depends on is not at hand',
    'Dependencies are fetched and checked before anything else is done; without one the unit knows only half of the release.',
    'Deliver it inside the envelope, or supply it beside the envelope.',
    'draft-ietf-suit-trust-domains 3, 5.5, 8.1',
  ],
  'dependency-wrong': [
    'a dependency is not the one whose digest was sealed',
    'It was exchanged or damaged on the way, or it is no envelope: whoever sealed this manifest meant another one.',
    'Fetch it again; where it comes back the same, treat it as tampered with.',
    'draft-ietf-suit-trust-domains 5.2.2, 5.6.4; RFC 9124 4.3.4',
  ],
  'dependency-not-authentic': [
    'a dependency is not sealed by anyone whom the unit trusts for it',
    'Its digest was named, but its own signature, signer or path does not hold: the lines above say where.',
    "Ask the dependency's author for an envelope sealed under the root that the unit was given.",
    'draft-ietf-suit-manifest 8.3; draft-ietf-suit-trust-domains 5.6.4',
  ],
  'dependencies-not-followed': [
    'the manifest does not use its dependencies as the standard asks',
    'It must fetch, check and process each in dependency-resolution, and none that was not checked there.',
    'Seal with the template for dependencies; inspect shows the sequences.',
    'draft-ietf-suit-trust-domains 5.1, 5.5, 5.6.2',
  ],
  'component-index-missing': [
    'a sequence does not say which component it is about',
    'With more than one component each sequence starts by choosing one, or it may act on the wrong one.',
    'Report it to whoever sealed it.',
    'draft-ietf-suit-manifest 6.2',
  ],
});

/** Step 5: whether it is newer than what is on board. */
export const FRESHNESS_REFUSALS = rowsOf('freshness', {
  'marks-lost': [
    'the marks of the unit cannot be read',
    'They hold the floors: without them the unit cannot tell an old release from a new one, so it takes none.',
    'Find out who or what wrote to the state area; then provision the unit again.',
    'docs/deployment-profile.md; RFC 9124 4.2.1',
  ],
  'trial-in-progress': [
    'an image is on trial',
    'Until it is kept or falls back, the other slot is the way home and must not be overwritten.',
    'Let the trial end, then install again.',
    'RFC 9019 4.1; docs/deployment-profile.md',
  ],
  'sequence-number-too-low': [
    'the sequence number is lower than one that is on board',
    'It is an older release: installing it would bring back what was fixed since.',
    'To go back on purpose, seal the old image again; it gets a new, higher number.',
    'draft-ietf-suit-manifest 8.4.2; RFC 9124 4.3.1',
  ],
  'sequence-number-used': [
    'the sequence number is already in use by another manifest',
    'Two manifests share one number: two counters are in use, or one of them is a forgery.',
    'Compare both digests in the trace with the release records; seal again with the next number.',
    'RFC 9124 4.3.1; docs/deployment-profile.md',
  ],
  'fell-back-before': [
    'the same manifest came to nothing on this unit as often as it may',
    'It did not prove itself, or was not what was sealed once it was decrypted, and would most likely fail again.',
    'Repair the firmware, or find out what happens to it on the way, and seal again; a higher number is taken.',
    'docs/deployment-profile.md; draft-ietf-suit-manifest 6.1',
  ],
  'trust-number-too-low': [
    'the trust update is not newer than the last one taken',
    'It was sent before, or is an old one that somebody sends again.',
    'Send the latest; to change something make a new one: fieldseal trust-update make.',
    'RFC 9124 4.3.1, 4.3.18; docs/deployment-profile.md',
  ],
  'trust-update-loosens': [
    'the trust update takes back what an earlier one said',
    'Denied keys, generation, retired roots and security floor only ever become stricter.',
    'Make one that says all that the last one said: fieldseal trust-update make does so by itself.',
    'docs/deployment-profile.md; RFC 9124 4.3.18',
  ],
  'security-version-malformed': [
    'the security version in the protected header is not a whole number from 0 to 4294967295',
    'The unit cannot compare it with its floor.',
    'Seal again with the security version as an unsigned integer.',
    'docs/deployment-profile.md',
  ],
  'security-version-below-floor': [
    'the security version is lower than the floor of the unit',
    'The image is from before a fix that this unit must never lose again.',
    'Seal an image that has the fix; a higher sequence number alone does not help.',
    'docs/deployment-profile.md (common practice); RFC 9124 4.2.1',
  ],
});

/** Step 6: whether it is meant for this unit. */
export const IDENTITY_REFUSALS = rowsOf('identity', {
  'vendor-not-named': [
    'the manifest does not say whose units it is for',
    'Without a vendor check the same envelope would fit every unit that trusts the signer.',
    'Seal with the vendor condition in the shared sequence.',
    'draft-ietf-suit-manifest 6.2, 7.1; RFC 9124 4.3.2',
  ],
  'class-not-named': [
    'the manifest does not say which class it is for',
    'Without a class check firmware for another model could land here and disable the unit.',
    'Seal with the class condition in the shared sequence.',
    'draft-ietf-suit-manifest 6.2, 7.1; RFC 9124 4.3.2, 4.3.10',
  ],
  'vendor-wrong': [
    'the manifest is for units of another vendor',
    'It is not meant for this unit.',
    'Compare the identifiers in the trace; send the envelope to the units it is for.',
    'draft-ietf-suit-manifest 8.4.8.2, 8.4.9.1; RFC 9124 4.3.2',
  ],
  'class-wrong': [
    'the manifest is for units of another class',
    'Firmware for another model or hardware revision could disable this unit.',
    'Compare the identifiers in the trace; send the envelope to the units it is for.',
    'draft-ietf-suit-manifest 8.4.8.2, 8.4.9.1; RFC 9124 4.3.2',
  ],
  'device-wrong': [
    'the manifest is for another single unit',
    'It names one unit by its device identifier, and that is not this one.',
    'Send the envelope to the unit it names.',
    'draft-ietf-suit-manifest 8.4.8.2, 8.4.9.1',
  ],
  'slot-not-offered': [
    'the manifest has no image for the slot that is free',
    'Its images are linked for other slots; in the free slot they would not run.',
    'Seal with one image for each slot.',
    'draft-ietf-suit-manifest 7.7, 8.4.8.7; RFC 9124 4.3.6',
  ],
  'use-before-passed': [
    'the manifest was to be used before a date that has passed',
    'The sender set an end to its use, so that an old release cannot be replayed later.',
    'Fetch the current release; if the date is wrong, set the clock of the unit.',
    'draft-ietf-suit-update-management 5.1; RFC 9124 4.3.3',
  ],
  'clock-needed': [
    'the manifest asks for the time and the unit has no clock that it trusts',
    'A condition that cannot be judged counts as failed.',
    'Seal without use-before for classes that have no clock.',
    'draft-ietf-suit-update-management 4.1, 5.1; RFC 9124 4.3.3',
  ],
  'parameter-missing': [
    'the shared sequence asks about a parameter that was never set',
    'A condition without its parameter fails.',
    'Report it to whoever sealed it.',
    'draft-ietf-suit-manifest 6.1, 8.4.9',
  ],
  'condition-failed': [
    'a condition of the shared sequence does not hold on this unit',
    'The sender excluded units in this state; the trace names the condition.',
    'Bring the unit into the state that the condition asks for, or send the envelope to the units it is for.',
    'draft-ietf-suit-manifest 8.4.9, 8.4.10',
  ],
});

/** Step 7: whether it fits where it goes. */
export const FIT_REFUSALS = rowsOf('fit', {
  'component-unknown': [
    'the manifest names a component that the unit does not have',
    'Where the image should go is signed data, and this unit has no such place.',
    'Seal with the component identifiers of the class.',
    'draft-ietf-suit-manifest 6.1, 8.4.5; RFC 9124 4.3.6',
  ],
  'component-count-wrong': [
    'the manifest, with what it depends on, has another number of components than the unit',
    'The unit is built for a fixed set of components, and takes them all together or none.',
    'Seal for the memory map of the class.',
    'draft-ietf-suit-manifest 6.2',
  ],
  'image-not-named': [
    'the shared sequence does not name the digest of the image',
    'Without it neither installation nor start-up can tell a genuine image from another.',
    'Seal with image digest and size in the shared sequence.',
    'draft-ietf-suit-manifest 7.2, 8.4.8.6; docs/deployment-profile.md',
  ],
  'image-size-missing': [
    'the shared sequence does not name the size of the image',
    'Without a signed size the unit cannot bound what it writes.',
    'Seal with image digest and size in the shared sequence.',
    'draft-ietf-suit-manifest 8.5; RFC 9124 4.3.15',
  ],
  'image-empty': [
    'the image has a size of zero',
    'There is nothing to install, and an empty slot cannot start.',
    'Seal the firmware file again.',
    'draft-ietf-suit-manifest 8.4.8.9',
  ],
  'image-too-large': [
    'the image is larger than the slot',
    'It would overwrite what lies behind the slot.',
    'Make the image smaller, or compare the slot size in the class with that of the unit.',
    'draft-ietf-suit-manifest 8.4.8.9; RFC 9124 4.3.6',
  ],
  'trust-update-strands': [
    'after this trust update no image on board would start',
    'Its security floor is above everything that the unit holds; the unit would be dead until service.',
    'Install and keep a release of that security version first, then send the trust update again.',
    'RFC 9019 4.1; docs/deployment-profile.md',
  ],
  'start-not-described': [
    'the manifest does not lead to a start of the image',
    'At every start the unit follows the manifest; after installing this one it would not start the image.',
    'Seal with the start-up template for the memory map of the class.',
    'draft-ietf-suit-manifest 5.3.3, 7.2',
  ],
  'envelope-area-too-small': [
    'the envelope without its image does not fit the area that keeps it for start-up',
    'At every start the unit verifies the envelope again, so it has to keep it.',
    'Seal with the text severed or left out, or give the class a larger envelope area.',
    'draft-ietf-suit-manifest 4.2; docs/deployment-profile.md',
  ],
});
