/** What an appraisal looks at, in this order. */
export const CLAIMS = [
  'form',
  'sender',
  'authenticity',
  'content',
  'manifest',
  'freshness',
  'image',
  'record',
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

/** Every way in which a report is not taken: a closed table, each code at one claim. */
export const APPRAISAL_REFUSALS = {
  'container-malformed': row(
    'form',
    'the file is not a report in a container that can be read',
    'It is damaged, cut short, too large, or something else.',
    'Ask the unit for a new report.',
  ),
  'not-a-report': row(
    'form',
    'the container does not say that it carries a report',
    'Something else that the unit signed must not pass for a report.',
    'Ask the unit for a report; give other messages to the command that they are for.',
  ),
  'unit-unknown': row(
    'sender',
    'no unit on record has that device identifier',
    'The report comes from a unit of another workspace, from one whose result was never accepted, or from nobody.',
    'Compare the identifier with the label of the unit; take in its batch result first.',
  ),
  'key-unknown': row(
    'sender',
    'the unit is on record without a key for reports of this kind',
    'It was provisioned without a report key, or its class shares no secret.',
    'Nothing that such a unit says can be told from a forgery: provision it again.',
  ),
  'algorithm-not-allowed': row(
    'authenticity',
    'the container uses an algorithm that its key is not for',
    'A message never chooses its own algorithm.',
    'Treat it as a forgery unless the unit was given other software.',
  ),
  'signature-wrong': row(
    'authenticity',
    'the signature is not that of the unit',
    'The report was changed, or was made by somebody else in the name of this unit.',
    'Keep a copy; ask the unit again with a fresh nonce.',
  ),
  'mac-wrong': row(
    'authenticity',
    'the MAC is not under the key of the unit',
    'The report was changed, or was made by somebody without the key of the class.',
    'Keep a copy; ask the unit again with a fresh nonce.',
  ),
  'report-encrypted': row(
    'content',
    'the report is encrypted and no key for it is at hand',
    'It is authentic; what it says cannot be read here.',
    'Appraise it where the key is.',
  ),
  'report-malformed': row(
    'content',
    'what the unit signed is not a report of the standard form',
    'The unit sent it, and its software writes something that cannot be read here.',
    'Compare its software with draft-ietf-suit-report, section by section.',
  ),
  'manifest-unknown': row(
    'manifest',
    'no release on record has the manifest that the report is about',
    'The unit met a payload that was not sealed here: a forgery, another workspace, or a record that is missing.',
    'Find out where the unit got it. Where it reports success, treat the unit as compromised.',
  ),
  'manifest-of-another-class': row(
    'manifest',
    'the report is about a release of another class',
    'A payload went to the wrong units; a success with it contradicts what a unit accepts.',
    'Check what was broadcast to whom. Where it reports success, treat the unit as compromised.',
  ),
  'reference-differs': row(
    'manifest',
    'the reference URI is not the one of the release',
    'Digest and URI do not belong together: the report was not made from that manifest.',
    'Ask the unit again; compare the release record.',
  ),
  'success-unnamed': row(
    'manifest',
    'the report claims success with nothing',
    'Only an image with a manifest can be kept.',
    'Treat the software of the unit as faulty.',
  ),
  'nonce-missing': row(
    'freshness',
    'the report answers no challenge',
    'It may be an old one that somebody kept.',
    'Ask the unit for a report with your nonce.',
  ),
  'nonce-wrong': row(
    'freshness',
    'the report answers another challenge',
    'It is an old one, or meant for somebody else.',
    'Ask the unit again with a new nonce.',
  ),
  stale: row(
    'freshness',
    'the unit was heard with a newer report before',
    'Somebody sends an old report again, or reports overtook each other on the way.',
    'Go by the newer one; ask the unit with a nonce where it matters.',
  ),
  'image-differs': row(
    'image',
    'the image that the unit measured is not one of the release',
    'What runs or would run is not what was sealed.',
    'Treat the unit as compromised or broken; have it attested, and install the release again.',
  ),
  'record-impossible': row(
    'record',
    'the record points at nothing that the manifest has',
    'A processor that follows this manifest cannot have made this record ([RPT] section 5).',
    'Do not trust the manifest processor that sent it.',
  ),
} as const;

/** The closed list of codes. */
export type AppraisalCode = keyof typeof APPRAISAL_REFUSALS;
