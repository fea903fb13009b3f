import {
  type CoseVerdict,
  type MacAlgorithm,
  type SignatureAlgorithm,
  verifyMac0,
  verifySign1,
} from '../cose/index.ts';
import { readPublicKey } from '../crypto/index.ts';
import { SHA_256 } from '../suit/index.ts';
import type { Appraisal, AppraisalBooks, AppraisedSender, KnownRelease, KnownUnit } from './appraisal.ts';
import { AGE_LABEL, openSealedReport, REPORT_CONTENT_TYPE, type SealedReport } from './container.ts';
import { ReportError } from './error.ts';
import { judgeFreshness } from './freshness.ts';
import { Ended, Notes } from './notes.ts';
import { readReport } from './read.ts';
import type { SuitReport } from './report.ts';
import { judgeImages, judgeRecord } from './substance.ts';

const CONTAINER = '[RPT] 8';

/** What an appraisal has found out. */
interface Found {
  sender?: AppraisedSender;
  age?: number | undefined;
  report?: SuitReport;
  release?: KnownRelease | undefined;
}

/**
 * Appraises a report claim by claim: its form, who sent it, whether it is authentic, which release it is about, whether it
 * is new, and whether what it says can be. Nothing in it is read before it is authentic. Never throws on data.
 */
export function appraiseReport(bytes: Uint8Array, books: AppraisalBooks): Appraisal {
  const notes = new Notes();
  const found: Found = {};
  try {
    judge(bytes, books, notes, found);
  } catch (error) {
    if (!(error instanceof Ended)) throw error;
  }
  const { sender, age, report, release } = found;
  const { refusal, all } = notes;
  return { verdict: refusal ? 'refused' : 'genuine', refusal, claims: all, sender, age, report, release };
}

function judge(bytes: Uint8Array, books: AppraisalBooks, notes: Notes, found: Found): void {
  const sealed = judgeForm(bytes, notes);
  const unit = judgeSender(sealed, books, notes);
  found.sender = judgeAuthenticity(sealed, unit, notes);
  found.age = sealed.age;
  const report = readContent(sealed, books, notes);
  found.report = report;
  found.release = judgeManifest(report, unit, books, notes);
  judgeFreshness(notes, {
    report,
    age: sealed.age,
    release: found.release,
    last: unit.lastHeard,
    nonce: books.nonce,
  });
  judgeImages(notes, report, found.release);
  judgeRecord(notes, report, books.manifest?.(report.reference.digest.bytes));
}

function judgeForm(bytes: Uint8Array, notes: Notes): SealedReport {
  try {
    const sealed = openSealedReport(bytes);
    notes.holds(
      'form',
      `a report in a COSE_${sealed.message.kind === 'sign1' ? 'Sign1' : 'Mac0'}`,
      CONTAINER,
    );
    return sealed;
  } catch (error) {
    if (!(error instanceof ReportError)) throw error;
    const code = error.code === 'content-type' ? 'not-a-report' : 'container-malformed';
    return notes.end(code, `byte ${error.offset}: ${error.message}`, CONTAINER);
  }
}

function judgeSender({ deviceId, message }: SealedReport, books: AppraisalBooks, notes: Notes): KnownUnit {
  const source = 'docs/reports.md; RFC 9052 3.1 (kid)';
  if (!deviceId) return notes.end('unit-unknown', 'no device identifier in the protected kid', source);
  const unit = books.unit(deviceId);
  if (!unit) return notes.end('unit-unknown', 'no such device identifier on record', source);
  const named = `${unit.className} ${unit.serial}`;
  const signed = message.kind === 'sign1';
  if (signed ? unit.reportKey : unit.macKey) notes.holds('sender', `says it is unit ${named}`, source);
  else notes.end('key-unknown', `${named} has no ${signed ? 'report key' : 'shared key at hand'}`, source);
  return unit;
}

function judgeAuthenticity(
  { message, payload }: SealedReport,
  unit: KnownUnit,
  notes: Notes,
): AppraisedSender {
  const source = message.kind === 'sign1' ? 'RFC 9052 4.4' : 'RFC 9052 6.3';
  const wrong = message.kind === 'sign1' ? 'signature-wrong' : 'mac-wrong';
  const verdict = verified({ message, payload }, unit);
  if (!verdict) return notes.end('key-unknown', 'the key on record cannot be read', source);
  if (!verdict.ok) {
    const code =
      verdict.code === 'signature-wrong' || verdict.code === 'mac-wrong' ? wrong : 'algorithm-not-allowed';
    return notes.end(code, verdict.detail, source);
  }
  const { status } = verdict.algorithm as Partial<SignatureAlgorithm>;
  if (status === 'legacy') {
    return notes.end('algorithm-not-allowed', `${verdict.algorithm.name} is legacy (RFC 9864)`, source);
  }
  const provedBy = message.kind === 'sign1' ? 'unit key' : 'class key';
  const whose = provedBy === 'unit key' ? 'the unit' : 'the unit, or anyone who holds its class key';
  notes.holds('authenticity', `${verdict.algorithm.name}, made by ${whose}`, source);
  return { className: unit.className, serial: unit.serial, provedBy };
}

function verified(
  { message, payload }: Pick<SealedReport, 'message' | 'payload'>,
  { reportKey, macKey }: KnownUnit,
): CoseVerdict<SignatureAlgorithm> | CoseVerdict<MacAlgorithm> | undefined {
  const options = { understood: [AGE_LABEL] };
  if (message.kind === 'mac0') return verifyMac0(message, macKey!, payload, options);
  const key = readPublicKey(reportKey!);
  return key && verifySign1(message, key, payload, options);
}

function readContent(sealed: SealedReport, books: AppraisalBooks, notes: Notes): SuitReport {
  const bytes = sealed.encrypted ? decrypted(sealed.payload, books, notes) : sealed.payload;
  try {
    const report = readReport(bytes);
    const how = sealed.encrypted ? ', which travelled encrypted' : '';
    notes.holds('content', `a report of ${bytes.length} bytes${how}`, '[RPT] 4');
    return report;
  } catch (error) {
    if (!(error instanceof ReportError)) throw error;
    return notes.end('report-malformed', `byte ${error.offset}: ${error.message}`, '[RPT] 4');
  }
}

/** Only after the container was found authentic, so that nothing that a stranger encrypted is ever decrypted. */
function decrypted(payload: Uint8Array, books: AppraisalBooks, notes: Notes): Uint8Array {
  const opened = books.decrypt?.(payload);
  if (!opened) return notes.end('report-encrypted', 'an encrypted message', CONTAINER);
  if (opened.contentType === REPORT_CONTENT_TYPE) return opened.plaintext;
  return notes.end('report-malformed', 'what was encrypted does not say that it is a report', CONTAINER);
}

/** Which release: the digest decides, the URI must agree with it ([RPT] section 4). */
function judgeManifest(
  { reference, result }: SuitReport,
  unit: KnownUnit,
  books: AppraisalBooks,
  notes: Notes,
): KnownRelease | undefined {
  const source = '[RPT] 4';
  const { digest, uri } = reference;
  if (digest.bytes.length === 0) {
    if (result === true) notes.fails('success-unnamed', 'no digest', source);
    else notes.skip('manifest', 'the unit had no manifest to name', source);
    return undefined;
  }
  const release = digest.algorithm === SHA_256 ? books.release(digest.bytes) : undefined;
  if (!release) {
    notes.fails('manifest-unknown', 'no release on record has this digest', source);
    return undefined;
  }
  const named = `${release.className} ${release.version}, sequence number ${release.sequenceNumber}`;
  if (release.className !== unit.className) {
    notes.fails('manifest-of-another-class', `${named}, and the unit is of class ${unit.className}`, source);
  } else if (uri !== '' && uri !== (release.referenceUri ?? '')) {
    notes.fails('reference-differs', `${named}, whose reference URI is another one`, source);
  } else notes.holds('manifest', named, source);
  return release;
}
