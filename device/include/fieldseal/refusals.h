/*
 * What a unit can say no with. Written from the refusal table in src/unit by `npm run docs`; never by hand. The step that a
 * refusal belongs to is in its upper byte.
 */
#ifndef FIELDSEAL_REFUSALS_H
#define FIELDSEAL_REFUSALS_H

#include <stdint.h>

/* Step 1, envelope. Is it a whole, well-formed envelope? */
/* the file is an encrypted message that nobody vouches for, or none that is well-formed */
#define FS_MESSAGE_MALFORMED UINT32_C(0x0101)
/* the message was not sent by anyone who may seal for this unit */
#define FS_MESSAGE_NOT_AUTHENTIC UINT32_C(0x0102)
/* the message is authentic, and this unit cannot decrypt it */
#define FS_MESSAGE_NOT_DECRYPTED UINT32_C(0x0103)
/* the envelope is larger than the unit takes */
#define FS_ENVELOPE_TOO_LARGE UINT32_C(0x0104)
/* the file is not a well-formed envelope */
#define FS_ENVELOPE_MALFORMED UINT32_C(0x0105)
/* the envelope has an element that the unit does not know */
#define FS_ENVELOPE_ELEMENT_UNKNOWN UINT32_C(0x0106)
/* the envelope lacks its authentication wrapper or its manifest */
#define FS_ENVELOPE_INCOMPLETE UINT32_C(0x0107)
/* the manifest is not preceded by its authentication wrapper */
#define FS_WRAPPER_AFTER_MANIFEST UINT32_C(0x0108)
/* an authentication block is not a tagged COSE structure with a detached payload */
#define FS_AUTHENTICATION_BLOCK_MALFORMED UINT32_C(0x0109)
/* the digest of the manifest uses an algorithm that the unit does not have */
#define FS_DIGEST_ALGORITHM_UNKNOWN UINT32_C(0x010a)
/* the manifest is not the one whose digest was sealed */
#define FS_MANIFEST_DIGEST_WRONG UINT32_C(0x010b)

/* Step 2, signer. Who sealed it, and may they? */
/* the signature comes without a signer certificate */
#define FS_SIGNER_MISSING UINT32_C(0x0201)
/* a certificate that came with the signature cannot be read */
#define FS_SIGNER_CHAIN_MALFORMED UINT32_C(0x0202)
/* the signature does not say which certificate it belongs to */
#define FS_SIGNER_NOT_BOUND UINT32_C(0x0203)
/* the certificate is not the one that the signature names */
#define FS_SIGNER_THUMBPRINT_WRONG UINT32_C(0x0204)
/* the certificates do not form a path */
#define FS_SIGNER_PATH_BROKEN UINT32_C(0x0205)
/* the path does not end at a root that the unit holds */
#define FS_SIGNER_NOT_ANCHORED UINT32_C(0x0206)
/* a certificate has a critical extension or an algorithm that the unit does not know */
#define FS_SIGNER_CERTIFICATE_UNSUPPORTED UINT32_C(0x0207)
/* the certificate is not one for sealing firmware */
#define FS_SIGNER_PURPOSE_WRONG UINT32_C(0x0208)
/* the signer may not seal for this class */
#define FS_SIGNER_NOT_FOR_THIS_CLASS UINT32_C(0x0209)
/* the signer is marked for trial use and the unit is a production unit */
#define FS_SIGNER_IS_FOR_TRIAL UINT32_C(0x020a)
/* the signer key is a published example key */
#define FS_SIGNER_KEY_PUBLISHED UINT32_C(0x020b)
/* the signer key, or an authority above it, is on the deny list of the unit */
#define FS_SIGNER_DENIED UINT32_C(0x020c)
/* the signer belongs to a generation that the unit no longer accepts */
#define FS_SIGNER_GENERATION_TOO_LOW UINT32_C(0x020d)
/* a certificate has run out by the clock of the unit */
#define FS_SIGNER_EXPIRED UINT32_C(0x020e)
/* a certificate is not valid yet by the clock of the unit */
#define FS_SIGNER_NOT_YET_VALID UINT32_C(0x020f)
/* the envelope has more signatures than the unit looks at */
#define FS_SIGNATURES_TOO_MANY UINT32_C(0x0210)
/* no MAC in the envelope is under a key that the unit holds */
#define FS_MAC_KEY_UNKNOWN UINT32_C(0x0211)

/* Step 3, authentication. Is the seal theirs? */
/* nobody vouches for the manifest */
#define FS_AUTHENTICATION_MISSING UINT32_C(0x0301)
/* the envelope is authenticated by another scheme than the one judged here */
#define FS_SCHEME_WRONG UINT32_C(0x0302)
/* the algorithm is not named in the protected header */
#define FS_ALGORITHM_NOT_PROTECTED UINT32_C(0x0303)
/* the algorithm is not the one of the profile of the unit */
#define FS_ALGORITHM_NOT_ALLOWED UINT32_C(0x0304)
/* the block marks a header as critical that the unit does not know */
#define FS_HEADER_CRITICAL_UNKNOWN UINT32_C(0x0305)
/* the key is not of the kind that the algorithm needs */
#define FS_KEY_TYPE_WRONG UINT32_C(0x0306)
/* the signature does not verify */
#define FS_SIGNATURE_WRONG UINT32_C(0x0307)
/* fewer signers vouch for the manifest than the policy of the unit asks for */
#define FS_AUTHENTICATIONS_TOO_FEW UINT32_C(0x0308)
/* no signer vouches for the manifest in a role that the policy of the unit asks for */
#define FS_ROLE_MISSING UINT32_C(0x0309)
/* the signers state different security versions */
#define FS_SECURITY_VERSIONS_DIFFER UINT32_C(0x030a)
/* the MAC does not verify */
#define FS_MAC_WRONG UINT32_C(0x030b)

/* Step 4, manifest. Is every instruction understood? */
/* the manifest is of another version of the format */
#define FS_MANIFEST_VERSION_UNKNOWN UINT32_C(0x0401)
/* the manifest does not have the form that the standard gives it */
#define FS_MANIFEST_MALFORMED UINT32_C(0x0402)
/* the manifest has an element that the unit does not know */
#define FS_MANIFEST_ELEMENT_UNKNOWN UINT32_C(0x0403)
/* the manifest has an element that the unit knows and does not carry out */
#define FS_MANIFEST_ELEMENT_UNSUPPORTED UINT32_C(0x0404)
/* the manifest holds a command that the unit does not know */
#define FS_COMMAND_UNKNOWN UINT32_C(0x0405)
/* the manifest holds a command that the unit knows and does not carry out */
#define FS_COMMAND_UNSUPPORTED UINT32_C(0x0406)
/* a command stands where it may not */
#define FS_COMMAND_MISPLACED UINT32_C(0x0407)
/* the manifest sets a parameter that the unit does not know */
#define FS_PARAMETER_UNKNOWN UINT32_C(0x0408)
/* the manifest sets a parameter that the unit knows and does not use */
#define FS_PARAMETER_UNSUPPORTED UINT32_C(0x0409)
/* the manifest holds a digest of an algorithm that the unit does not have */
#define FS_MANIFEST_DIGEST_ALGORITHM_UNKNOWN UINT32_C(0x040a)
/* the envelope carries a part for which the manifest has no digest */
#define FS_SEVERED_PART_UNEXPECTED UINT32_C(0x040b)
/* no signer of the payload has a right to a component that the manifest changes or starts */
#define FS_COMPONENT_NOT_PERMITTED UINT32_C(0x040c)
/* no signer of the payload has a right to a command that the manifest gives */
#define FS_COMMAND_NOT_PERMITTED UINT32_C(0x040d)
/* the signer may not change this component: its certificate is for the other purpose */
#define FS_COMPONENT_NOT_FOR_PURPOSE UINT32_C(0x040e)
/* the policy in the trust update is not in its form */
#define FS_POLICY_MALFORMED UINT32_C(0x040f)
/* the trust update retires a root and is not signed below a spare root */
#define FS_RETIREMENT_NOT_PERMITTED UINT32_C(0x0410)
/* a manifest that this one depends on is not at hand */
#define FS_DEPENDENCY_MISSING UINT32_C(0x0411)
/* a dependency is not the one whose digest was sealed */
#define FS_DEPENDENCY_WRONG UINT32_C(0x0412)
/* a dependency is not sealed by anyone whom the unit trusts for it */
#define FS_DEPENDENCY_NOT_AUTHENTIC UINT32_C(0x0413)
/* the manifest does not use its dependencies as the standard asks */
#define FS_DEPENDENCIES_NOT_FOLLOWED UINT32_C(0x0414)
/* a sequence does not say which component it is about */
#define FS_COMPONENT_INDEX_MISSING UINT32_C(0x0415)

/* Step 5, freshness. Is it newer than what is on board? */
/* the marks of the unit cannot be read */
#define FS_MARKS_LOST UINT32_C(0x0501)
/* an image is on trial */
#define FS_TRIAL_IN_PROGRESS UINT32_C(0x0502)
/* the sequence number is lower than one that is on board */
#define FS_SEQUENCE_NUMBER_TOO_LOW UINT32_C(0x0503)
/* the sequence number is already in use by another manifest */
#define FS_SEQUENCE_NUMBER_USED UINT32_C(0x0504)
/* the same manifest came to nothing on this unit as often as it may */
#define FS_FELL_BACK_BEFORE UINT32_C(0x0505)
/* the trust update is not newer than the last one taken */
#define FS_TRUST_NUMBER_TOO_LOW UINT32_C(0x0506)
/* the trust update takes back what an earlier one said */
#define FS_TRUST_UPDATE_LOOSENS UINT32_C(0x0507)
/* the security version in the protected header is not a whole number from 0 to 4294967295 */
#define FS_SECURITY_VERSION_MALFORMED UINT32_C(0x0508)
/* the security version is lower than the floor of the unit */
#define FS_SECURITY_VERSION_BELOW_FLOOR UINT32_C(0x0509)

/* Step 6, identity. Is it meant for this unit? */
/* the manifest does not say whose units it is for */
#define FS_VENDOR_NOT_NAMED UINT32_C(0x0601)
/* the manifest does not say which class it is for */
#define FS_CLASS_NOT_NAMED UINT32_C(0x0602)
/* the manifest is for units of another vendor */
#define FS_VENDOR_WRONG UINT32_C(0x0603)
/* the manifest is for units of another class */
#define FS_CLASS_WRONG UINT32_C(0x0604)
/* the manifest is for another single unit */
#define FS_DEVICE_WRONG UINT32_C(0x0605)
/* the manifest has no image for the slot that is free */
#define FS_SLOT_NOT_OFFERED UINT32_C(0x0606)
/* the manifest was to be used before a date that has passed */
#define FS_USE_BEFORE_PASSED UINT32_C(0x0607)
/* the manifest asks for the time and the unit has no clock that it trusts */
#define FS_CLOCK_NEEDED UINT32_C(0x0608)
/* the shared sequence asks about a parameter that was never set */
#define FS_PARAMETER_MISSING UINT32_C(0x0609)
/* a condition of the shared sequence does not hold on this unit */
#define FS_CONDITION_FAILED UINT32_C(0x060a)

/* Step 7, fit. Does it fit where it goes? */
/* the manifest names a component that the unit does not have */
#define FS_COMPONENT_UNKNOWN UINT32_C(0x0701)
/* the manifest, with what it depends on, has another number of components than the unit */
#define FS_COMPONENT_COUNT_WRONG UINT32_C(0x0702)
/* the shared sequence does not name the digest of the image */
#define FS_IMAGE_NOT_NAMED UINT32_C(0x0703)
/* the shared sequence does not name the size of the image */
#define FS_IMAGE_SIZE_MISSING UINT32_C(0x0704)
/* the image has a size of zero */
#define FS_IMAGE_EMPTY UINT32_C(0x0705)
/* the image is larger than the slot */
#define FS_IMAGE_TOO_LARGE UINT32_C(0x0706)
/* after this trust update no image on board would start */
#define FS_TRUST_UPDATE_STRANDS UINT32_C(0x0707)
/* the manifest does not lead to a start of the image */
#define FS_START_NOT_DESCRIBED UINT32_C(0x0708)
/* the envelope without its image does not fit the area that keeps it for start-up */
#define FS_ENVELOPE_AREA_TOO_SMALL UINT32_C(0x0709)
/* the delta was made against another image than the one that runs */
#define FS_PRECURSOR_WRONG UINT32_C(0x070a)
/* the delta has windows for which the unit sets no memory aside */
#define FS_DELTA_WINDOW_TOO_LARGE UINT32_C(0x070b)

/* Step 8, content. Is everything it needs at hand? */
/* a part that was severed from the manifest is not in the envelope */
#define FS_SEVERED_PART_MISSING UINT32_C(0x0801)
/* a severed part is not the one that was sealed */
#define FS_SEVERED_PART_WRONG UINT32_C(0x0802)
/* the manifest does not say how to install */
#define FS_INSTALL_MISSING UINT32_C(0x0803)
/* the install sequence cannot be carried out on this unit */
#define FS_INSTALL_FAILED UINT32_C(0x0804)
/* the manifest waits for something that has not come yet */
#define FS_WAIT_NOT_OVER UINT32_C(0x0805)
/* the manifest does not say where the image comes from */
#define FS_IMAGE_SOURCE_MISSING UINT32_C(0x0806)
/* the manifest names an integrated image that is not in the envelope */
#define FS_PAYLOAD_MISSING UINT32_C(0x0807)
/* the slot did not take what was written to it */
#define FS_FLASH_FAILED UINT32_C(0x0808)
/* the encryption info is not one that the unit can follow */
#define FS_ENCRYPTION_INFO_WRONG UINT32_C(0x0809)
/* the image is encrypted with an algorithm that is not the unit's */
#define FS_ENCRYPTION_ALGORITHM_NOT_ALLOWED UINT32_C(0x080a)
/* the image was not encrypted for this unit */
#define FS_RECIPIENT_MISSING UINT32_C(0x080b)
/* the content key that was sent to this unit does not open */
#define FS_CONTENT_KEY_WRONG UINT32_C(0x080c)
/* nothing says what the ciphertext in the staging area should be */
#define FS_CIPHERTEXT_DIGEST_MISSING UINT32_C(0x080d)
/* the ciphertext has another length than it must have */
#define FS_CIPHERTEXT_LENGTH_WRONG UINT32_C(0x080e)
/* the ciphertext is not the one that was sealed */
#define FS_CIPHERTEXT_DIGEST_WRONG UINT32_C(0x080f)
/* the tag of the ciphertext does not fit */
#define FS_DECRYPTION_FAILED UINT32_C(0x0810)
/* the delta is not the one that was sealed */
#define FS_DELTA_ALTERED UINT32_C(0x0811)
/* the delta cannot be applied */
#define FS_DELTA_MALFORMED UINT32_C(0x0812)

/* Step 9, image. Is the image the one that was sealed? */
/* the image has another length than the one that was sealed */
#define FS_IMAGE_LENGTH_WRONG UINT32_C(0x0901)
/* the image is not the one that was sealed */
#define FS_IMAGE_DIGEST_WRONG UINT32_C(0x0902)

/* Step 10, commit. Is the new slot marked ready? */
/* the mark that makes the slot ready could not be written */
#define FS_MARK_NOT_WRITTEN UINT32_C(0x0a01)

/* Step 11, start. Is what would run still genuine? */
/* the envelope that was kept with the image is damaged */
#define FS_STORED_ENVELOPE_WRONG UINT32_C(0x0b01)
/* the signer of what is in the slot is not one that the unit trusts */
#define FS_STORED_SIGNER_WRONG UINT32_C(0x0b02)
/* the seal of what is in the slot does not verify */
#define FS_STORED_AUTHENTICATION_WRONG UINT32_C(0x0b03)
/* the manifest of what is in the slot cannot be carried out */
#define FS_STORED_MANIFEST_WRONG UINT32_C(0x0b04)
/* what is in the slot is not meant for this unit */
#define FS_STORED_IDENTITY_WRONG UINT32_C(0x0b05)
/* what is in the slot has a security version below the floor */
#define FS_STORED_VERSION_BELOW_FLOOR UINT32_C(0x0b06)
/* the image in the slot is not the one that was sealed */
#define FS_STORED_IMAGE_WRONG UINT32_C(0x0b07)
/* what waits in the staging area cannot be decrypted */
#define FS_STORED_DECRYPTION_WRONG UINT32_C(0x0b08)
/* the manifest of what is in the slot does not lead to a start */
#define FS_STORED_START_FAILED UINT32_C(0x0b09)
/* the marks of the slot were not written by this unit, or not to their end */
#define FS_MARKS_UNREADABLE UINT32_C(0x0b0a)
/* no slot holds firmware that may run */
#define FS_NOTHING_TO_START UINT32_C(0x0b0b)

/* Step 12, keep. Did it prove itself? */
/* no image is on trial */
#define FS_NOTHING_ON_TRIAL UINT32_C(0x0c01)
/* the image on trial was not kept before the next start */
#define FS_TRIAL_RAN_OUT UINT32_C(0x0c02)
/* raising the floor would leave the unit without an image that may start */
#define FS_FLOOR_WOULD_STRAND UINT32_C(0x0c03)

#endif
