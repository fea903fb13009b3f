import { rowsOf } from './refusal-rows.ts';

/** Step 1: the shell and the digest over the manifest. */
export const ENVELOPE_REFUSALS = rowsOf('envelope', {
  'message-malformed': [
    'the file is an encrypted message that nobody vouches for, or none that is well-formed',
    'Encrypting for a unit takes its public key only: what is not signed or MACed outside anyone may have made.',
    'Send what message encrypt made, as it is.',
    'RFC 9052 4.2, 5.1, 6.2; docs/deployment-profile.md',
  ],
  'message-not-authentic': [
    'the message was not sent by anyone who may seal for this unit',
    'Its signature or MAC was judged before anything was decrypted; a stranger may have encrypted it.',
    'Send it again from the workspace of the vendor; where it comes back the same, treat it as a forgery.',
    'RFC 9052 4.4, 6.3; docs/deployment-profile.md',
  ],
  'message-not-decrypted': [
    'the message is authentic, and this unit cannot decrypt it',
    'It was encrypted for other units, or under an algorithm that is not the one of this unit.',
    'Encrypt it for this unit: it must be on record, or in the cohort.',
    'RFC 9052 5.3; docs/deployment-profile.md',
  ],
  'envelope-too-large': [
    'the envelope is larger than the unit takes',
    'The part that must be held in memory while it is judged is bounded, so that a sender cannot exhaust the unit.',
    'Seal with the text severed or left out, and check that the file is an envelope and not an image.',
    'draft-ietf-suit-manifest 6.2; RFC 9124 4.3.21',
  ],
  'envelope-malformed': [
    'the file is not a well-formed envelope',
    'It is cut short, damaged, or not CBOR in the deterministic form that envelopes have; nothing in it was used.',
    'Fetch it again and compare its size and SHA-256 with the release record; then seal it again.',
    'draft-ietf-suit-manifest 8.1, 8.2; RFC 8949 4.2.1',
  ],
  'envelope-element-unknown': [
    'the envelope has an element that the unit does not know',
    'An element with an unassigned or reserved key may change the meaning of the rest, so the unit reads no further.',
    'Ask the sender which document defines the key; seal without it for this unit.',
    'draft-ietf-suit-manifest 8.2, 11.1',
  ],
  'envelope-incomplete': [
    'the envelope lacks its authentication wrapper or its manifest',
    'Without the one nobody vouches for it, without the other there is nothing in it that a unit could obey.',
    'Seal again; this file holds only a part of an envelope.',
    'draft-ietf-suit-manifest 8.2, 8.3',
  ],
  'wrapper-after-manifest': [
    'the manifest is not preceded by its authentication wrapper',
    'A unit that reads in order would hold the manifest before it knows how to judge it.',
    'Seal again with a tool that writes the wrapper first.',
    'draft-ietf-suit-manifest 8.3',
  ],
  'authentication-block-malformed': [
    'an authentication block is not a tagged COSE structure with a detached payload',
    'The block is damaged, untagged, or carries a payload of its own in place of the digest.',
    'Seal again; a block is COSE_Sign1, COSE_Sign, COSE_Mac0 or COSE_Mac, tagged, with a nil payload.',
    'draft-ietf-suit-manifest 8.3; RFC 9052 3, 4.2, 6.2',
  ],
  'digest-algorithm-unknown': [
    'the digest of the manifest uses an algorithm that the unit does not have',
    'Without recomputing the digest the unit cannot tell whether the manifest is the one that was sealed.',
    'Seal with SHA-256 (-16), the digest of every mandatory profile.',
    'draft-ietf-suit-manifest 10; draft-ietf-suit-mti 3',
  ],
  'manifest-digest-wrong': [
    'the manifest is not the one whose digest was sealed',
    'The manifest or the digest was changed or damaged after sealing.',
    'Fetch the envelope again; where it comes back the same, treat it as tampered with and keep a copy.',
    'draft-ietf-suit-manifest 8.3, 10; RFC 9124 4.3.4',
  ],
});

/** Step 2: who sealed it, and whether they may. */
export const SIGNER_REFUSALS = rowsOf('signer', {
  'signer-missing': [
    'the signature comes without a signer certificate',
    'The unit holds only the root: without the certificates in between it cannot tell whose signature it is.',
    'Seal with the signer certificate and its intermediates in the x5chain header.',
    'docs/deployment-profile.md; RFC 9360 2',
  ],
  'signer-chain-malformed': [
    'a certificate that came with the signature cannot be read',
    'It is not a DER certificate, holds a key of a kind that no profile uses, or the header has another shape.',
    'Seal again with a certificate issued for this workspace.',
    'RFC 9360 2; RFC 5280 4.1',
  ],
  'signer-not-bound': [
    'the signature does not say which certificate it belongs to',
    'The certificate could be exchanged for another one: it must be protected by the signature.',
    'Seal with x5t, or x5chain itself, in the protected header.',
    'RFC 9360 2',
  ],
  'signer-thumbprint-wrong': [
    'the certificate is not the one that the signature names',
    'The certificate was exchanged after sealing, or the thumbprint uses another hash than SHA-256.',
    'Fetch the envelope again; where it comes back the same, treat it as tampered with.',
    'RFC 9360 2',
  ],
  'signer-path-broken': [
    'the certificates do not form a path',
    'A certificate is not signed by the next one, or the next one is not an authority that may issue it.',
    'Compare the chain with certificates/ of the workspace; seal again with the right intermediate.',
    'RFC 5280 6.1',
  ],
  'signer-not-anchored': [
    'the path does not end at a root that the unit holds',
    'Whoever sealed this is not known to the unit: another maker, another workspace, or a forger.',
    'Compare the root in the trace with the unit record; for your own payload seal with a signer under that root.',
    'RFC 5280 6.1.1; RFC 9124 4.3.4, 4.3.13',
  ],
  'signer-certificate-unsupported': [
    'a certificate has a critical extension or an algorithm that the unit does not know',
    'The issuer marked something as not to be ignored, so ignoring it is no option.',
    'Issue the certificate again after the signer profile.',
    'RFC 5280 4.2, 6.1.5',
  ],
  'signer-purpose-wrong': [
    'the certificate is not one for sealing firmware',
    'It is an authority certificate or one for another purpose; a signer has digitalSignature and one purpose: code signing for releases, or trust updates.',
    'Seal with a signer certificate.',
    'RFC 5280 4.2.1.3, 4.2.1.12; RFC 9124 4.3.13',
  ],
  'signer-not-for-this-class': [
    'the signer may not seal for this class',
    'The certificate names other classes. It may be genuine, but its rights end elsewhere.',
    'Seal with a signer whose certificate names this class identifier or the vendor identifier.',
    'docs/deployment-profile.md; RFC 9124 4.3.11, 4.3.13',
  ],
  'signer-is-for-trial': [
    'the signer is marked for trial use and the unit is a production unit',
    'Trial keys lie about in clear; whatever they seal proves nothing.',
    'Seal in the production workspace.',
    'docs/deployment-profile.md (common practice); RFC 9124 4.3.17',
  ],
  'signer-key-published': [
    'the signer key is a published example key',
    'Its private half is printed in a standard: everybody can seal with it.',
    'Make a signer key of your own, and find out how the example key came to be certified.',
    'docs/deployment-profile.md (common practice)',
  ],
  'signer-denied': [
    'the signer key, or an authority above it, is on the deny list of the unit',
    'The key was revoked. A payload under it may come from whoever stole it.',
    'Seal again with the signer that replaced it.',
    'RFC 9124 4.3.18',
  ],
  'signer-generation-too-low': [
    'the signer belongs to a generation that the unit no longer accepts',
    'The minimum generation was raised, as is done when older signers are withdrawn.',
    'Seal again with a signer of the current generation.',
    'docs/deployment-profile.md; RFC 9124 4.3.18',
  ],
  'signer-expired': [
    'a certificate has run out by the clock of the unit',
    'The signer or an authority above it is past its last day.',
    'Renew the certificate and seal again; if the date is wrong, set the clock of the unit.',
    'RFC 5280 4.1.2.5; RFC 9124 4.3.18',
  ],
  'signer-not-yet-valid': [
    'a certificate is not valid yet by the clock of the unit',
    'The clock of the unit is behind, or the certificate was issued for later.',
    'Set the clock of the unit; compare the dates in the trace.',
    'RFC 5280 4.1.2.5',
  ],
  'signatures-too-many': [
    'the envelope has more signatures than the unit looks at',
    'Judging a signature costs time, so a unit that asks for several signers bounds how many it looks at.',
    'Leave out signatures that no unit asks for; eight of the algorithms in its policy are looked at.',
    'docs/deployment-profile.md; RFC 9124 4.3.21',
  ],
  'mac-key-unknown': [
    'no MAC in the envelope is under a key that the unit holds',
    'The payload was sealed for another class or cohort, or under a key that this unit never got.',
    'Compare the key ids in the trace with the unit record; seal with the key of its cohort.',
    'RFC 9052 3.1 (kid); docs/deployment-profile.md',
  ],
});

/** Step 3: whether the seal is theirs. */
export const AUTHENTICATION_REFUSALS = rowsOf('authentication', {
  'authentication-missing': [
    'nobody vouches for the manifest',
    'The wrapper holds a digest and no signature or MAC: anyone could have made it.',
    'Seal the envelope.',
    'draft-ietf-suit-manifest 8.3; RFC 9124 4.3.4',
  ],
  'scheme-wrong': [
    'the envelope is authenticated by another scheme than the one judged here',
    'A unit takes signatures or MACs, whichever was chosen for its class, and never lets the message choose.',
    'Seal under the scheme of the class.',
    'draft-ietf-suit-mti 5.2; draft-ietf-suit-manifest 8.3',
  ],
  'algorithm-not-protected': [
    'the algorithm is not named in the protected header',
    'An algorithm that is not covered by the signature can be exchanged on the way.',
    'Seal with alg in the protected header.',
    'RFC 9052 3.1',
  ],
  'algorithm-not-allowed': [
    'the algorithm is not the one of the profile of the unit',
    'A unit takes exactly one algorithm; a message never chooses a weaker or an older one.',
    'Seal under the profile of the class; see the trace for both numbers.',
    'draft-ietf-suit-mti 5.2; RFC 9864 2',
  ],
  'header-critical-unknown': [
    'the block marks a header as critical that the unit does not know',
    'The sender says that the block must not be accepted without understanding it.',
    'Seal without the critical header.',
    'RFC 9052 3.1 (crit)',
  ],
  'key-type-wrong': [
    'the key is not of the kind that the algorithm needs',
    'A P-256 signature needs a P-256 key, an Ed25519 signature an Ed25519 key.',
    'Seal with the signer of the profile, or check with the key that belongs to the signature.',
    'RFC 9053 2.1, 2.2',
  ],
  'signature-wrong': [
    'the signature does not verify',
    'The digest or a protected header was changed, another key made the signature, or it is an Ed25519 key of small order, under which everybody can sign.',
    'Fetch the envelope again; where it comes back the same, treat it as a forgery and keep a copy.',
    'RFC 9052 4.4; RFC 9124 4.3.4',
  ],
  'authentications-too-few': [
    'fewer signers vouch for the manifest than the policy of the unit asks for',
    'A signature was left out or stripped, does not count, or one key signed twice: a key counts once.',
    'Compare the signatures in the trace with the policy; add the missing one: fieldseal signature add.',
    'docs/deployment-profile.md; draft-ietf-suit-manifest 8.3; RFC 9124 4.3.13',
  ],
  'role-missing': [
    'no signer vouches for the manifest in a role that the policy of the unit asks for',
    'Enough keys signed, but not the right ones: one author does not stand in for an approver.',
    'Have it signed by a signer of the missing role: fieldseal signature add.',
    'docs/deployment-profile.md; draft-ietf-suit-manifest 8.3; RFC 9124 4.3.13',
  ],
  'security-versions-differ': [
    'the signers state different security versions',
    'Each vouches for another floor. Which one was meant cannot be told, and the lower one would open a way back.',
    'Sign again with one security version in every signature.',
    'docs/deployment-profile.md; RFC 9124 4.2.1',
  ],
  'mac-wrong': [
    'the MAC does not verify',
    'The digest or a protected header was changed, or another key made the MAC.',
    'Fetch the envelope again; where it comes back the same, treat it as a forgery and keep a copy.',
    'RFC 9052 6.3; RFC 9124 4.3.4',
  ],
});
