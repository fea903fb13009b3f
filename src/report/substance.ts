import { equal, toHex } from '../bytes/index.ts';
import type { Manifest } from '../suit/index.ts';
import type { KnownRelease } from './appraisal.ts';
import { type Explained, explainRecord } from './explain.ts';
import type { Notes } from './notes.ts';
import { PENDING } from './outcomes.ts';
import type { PropertyClaim, SuitRecord, SuitReport } from './report.ts';

const IMAGE_SOURCE = '[RPT] 4.1; RFC 9124 4.3.8';
const RECORD_SOURCE = '[RPT] 3, 5';

/**
 * Whether the image that was measured is one of the release. Judged where the report says that this release runs or is about
 * to; a unit that tells of a failure may be running another one, and says so here.
 */
export function judgeImages(notes: Notes, report: SuitReport, release: KnownRelease | undefined): void {
  const measured = report.records.flatMap((each) => (each.kind === 'claim' ? digestsOf(each) : []));
  const { result } = report;
  if (!release || measured.length === 0) {
    notes.skip('image', 'no image was measured, or no release to compare it with', IMAGE_SOURCE);
  } else if (result !== true && result.reason !== PENDING.reason) {
    notes.skip('image', `what runs has digest ${toHex(measured[0]!)}`, IMAGE_SOURCE);
  } else {
    const foreign = measured.find((digest) => !release.imageDigests.some((known) => equal(known, digest)));
    if (foreign) notes.fails('image-differs', `measured ${toHex(foreign)}`, IMAGE_SOURCE);
    else notes.holds('image', 'the measured image is the one that was sealed', IMAGE_SOURCE);
  }
}

function digestsOf({ properties }: PropertyClaim): Uint8Array[] {
  const digest = properties.get(3);
  return digest ? [digest.bytes] : [];
}

/** Whether the manifest has what the records point at. Judged where the manifest is at hand. */
export function judgeRecord(
  notes: Notes,
  { records, result }: SuitReport,
  manifest: Manifest | undefined,
): void {
  const listed = records.filter((each) => each.kind === 'record');
  if (result === true && listed.length === 0) notes.skip('record', 'no command is named', RECORD_SOURCE);
  else if (!manifest) notes.skip('record', 'the manifest is not at hand', RECORD_SOURCE);
  else {
    for (const record of listed) judgeOne(notes, explainRecord(record, manifest, 'list'), record);
    if (result !== true) judgeOne(notes, explainRecord(result.record, manifest, 'result'), result.record);
  }
}

function judgeOne(notes: Notes, explained: Explained, { offset }: SuitRecord): void {
  if (!explained.ok) {
    notes.fails('record-impossible', explained.problem, RECORD_SOURCE);
    return;
  }
  const { command, section } = explained;
  const found = command ? `${section}, byte ${offset}: ${command}` : 'before any command';
  notes.holds('record', found, RECORD_SOURCE);
}
