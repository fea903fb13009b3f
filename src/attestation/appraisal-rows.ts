/** What an appraisal looks at, in this order. */
export const CLAIMS = [
  'form',
  'sender',
  'authenticity',
  'content',
  'profile',
  'freshness',
  'identity',
  'debug port',
  'boot',
  'region',
  'software',
  'measurement',
  'self-check',
  'up to date',
] as const;
export type ClaimName = (typeof CLAIMS)[number];

interface Row {
  readonly claim: ClaimName;
  readonly says: string;
  readonly meaning: string;
  readonly next: string;
}

const row = (claim: ClaimName, says: string, meaning: string, next: string): Row => ({
  claim,
  says,
  meaning,
  next,
});

const ASK_AGAIN = 'Make a new challenge and ask the unit again.';

/** Every way in which an answer is not taken: a closed table, each code at one claim. */
export const ATTESTATION_REFUSALS = {
  'token-malformed': row(
    'form',
    'the file is not a token that can be read',
    'It is damaged, cut short, too large, or something else.',
    ASK_AGAIN,
  ),
  'not-a-token': row(
    'form',
    'the message does not say that it is a token',
    'Something else that the unit signed must not pass for evidence.',
    'Give reports to "fieldseal report appraise"; ask the unit with a challenge.',
  ),
  'unit-unknown': row(
    'sender',
    'no unit on record has that device identifier',
    'It comes from a unit of another workspace, from one whose result was never accepted, or from nobody.',
    'Compare the identifier with the label of the unit; take in its batch result first.',
  ),
  'key-unknown': row(
    'sender',
    'the unit is on record without a key for tokens of this kind',
    'It was provisioned without an attestation key, or its class shares no secret.',
    'Nothing that such a unit says can be told from a forgery: provision it again.',
  ),
  'algorithm-not-allowed': row(
    'authenticity',
    'the token uses an algorithm that its key is not for',
    'A message never chooses its own algorithm.',
    'Treat it as a forgery unless the unit was given other software.',
  ),
  'signature-wrong': row(
    'authenticity',
    'the signature is not under the key on record',
    'The token was changed, or was made with a key that is not the key of this unit.',
    `Keep a copy. ${ASK_AGAIN}`,
  ),
  'mac-wrong': row(
    'authenticity',
    'the MAC is not under the key of the unit',
    'The token was changed, or was made by somebody without the key of the class.',
    `Keep a copy. ${ASK_AGAIN}`,
  ),
  'claims-malformed': row(
    'content',
    'what the unit signed is not a claims set that can be read',
    'The unit sent it, and its software writes something that is not RFC 9711.',
    'Compare its software with docs/attestation.md.',
  ),
  'claims-missing': row(
    'content',
    'a claim that every answer must have is not there',
    'What is left out cannot be judged, and leaving it out is what altered software would do.',
    'Compare its software with docs/attestation.md.',
  ),
  'profile-wrong': row(
    'profile',
    'the token is of another profile',
    'Its claims may mean something else than they do here.',
    'Appraise it with whatever defines that profile.',
  ),
  'nonce-unknown': row(
    'freshness',
    'no challenge of this workspace has that nonce',
    'It answers somebody else, or a challenge that was made in another copy of the workspace.',
    'Appraise it where the challenge was made.',
  ),
  'nonce-used': row(
    'freshness',
    'the challenge was answered before',
    'Somebody sends an old answer again; a nonce is good for one.',
    ASK_AGAIN,
  ),
  'nonce-expired': row(
    'freshness',
    'the answer came after the challenge had run out',
    'Whoever had it meanwhile had time to prepare an answer.',
    `${ASK_AGAIN} Give a slow link more time with --hours.`,
  ),
  'nonce-of-another-unit': row(
    'freshness',
    'the challenge was made for another unit',
    'A sound unit answers for itself only; one answered in the place of another.',
    'Have a look at the unit that was asked: it may be the altered one.',
  ),
  'identity-differs': row(
    'identity',
    'the token names another unit, class or maker than the one whose key made it',
    'Key and claims do not belong together.',
    'Treat the software of the unit as altered.',
  ),
  'debug-open': row(
    'debug port',
    'a debug port of the unit is open',
    'Whoever reaches it can read and change everything, this answer included.',
    'Take the unit out of service; close the port as production should have.',
  ),
  'debug-doubtful': row(
    'debug port',
    'the debug port is closed now, and may have been open since the start',
    'What was changed in memory meanwhile shows in no measurement of flash.',
    'Start the unit again and ask once more.',
  ),
  'debug-unstated': row(
    'debug port',
    'the unit does not say whether a debug port is open',
    'Absence means that it is not reported (RFC 9711 section 4.2.9).',
    'Compare its software with docs/attestation.md.',
  ),
  'boot-count-behind': row(
    'boot',
    'the unit was started fewer times than it said before',
    'Its protected memory was set back, or another unit answers with its key.',
    'Treat the unit as compromised until it was looked at.',
  ),
  'region-differs': row(
    'region',
    'the unit measured another region than it was asked for',
    'A sound part of the memory was shown in place of another.',
    'Treat the software of the unit as altered.',
  ),
  'recovery-runs': row(
    'software',
    'the unit runs its recovery image',
    'It has no image of a release that may start; it only fetches and installs.',
    'Install a release again.',
  ),
  'release-unknown': row(
    'software',
    'no release on record has the manifest that the unit says it runs',
    'It runs something that was not sealed here, or the record is missing.',
    'Treat the unit as compromised; look for the release with "fieldseal ledger list".',
  ),
  'release-of-another-class': row(
    'software',
    'the unit says that it runs a release of another class',
    'That contradicts what a unit accepts.',
    'Treat the software of the unit as altered.',
  ),
  'version-differs': row(
    'software',
    'number or version are not those of the release',
    'The claims contradict the release record, which was written when it was sealed.',
    'Treat the software of the unit as altered.',
  ),
  'measurement-differs': row(
    'measurement',
    'what the unit measured is not what was sealed',
    'The code was changed, or the answer was made without the memory that was asked for.',
    'Treat the unit as compromised; keep it for examination before anything is installed again.',
  ),
  'self-check-failed': row(
    'self-check',
    'the unit itself found code that had changed since its start',
    'Flash is wearing out, or somebody writes to it.',
    'Start it into verification again; treat a second time as an attack until shown otherwise.',
  ),
  'software-stale': row(
    'up to date',
    'the unit runs an older release than it should',
    'It missed an update or fell back. What it runs is genuine, with the flaws that were fixed since.',
    'Find out why it did not take the newer one; while a broadcast is under way, say what is good enough with --least-number.',
  ),
} as const;

/** The closed list of codes. */
export type AttestationCode = keyof typeof ATTESTATION_REFUSALS;

/** What no answer proves, whatever it says; stands beside every result. */
export const LIMITS_OF_THE_RESULT = [
  'The measurer is itself code in the unit: software that was altered can keep a clean copy elsewhere and measure that.',
  'It proves what the flash held when it was read, not what was executed before or is in RAM.',
  'Only the region that was asked for was measured.',
] as const;
