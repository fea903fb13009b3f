import { readFileSync, statSync } from 'node:fs';
import { toHex } from '../../bytes/index.ts';
import { APPRAISAL_REFUSALS, type Appraisal, appraiseReport, REPORT_LIMITS } from '../../report/index.ts';
import { openReportBooks, rememberHeard } from '../../verifier/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import { showClaims, showNotTaken } from '../show-claims.ts';
import { reportJson, showReport } from '../show-report.ts';
import type { Call } from '../spec.ts';
import { nonceOf } from '../unit-report.ts';

/** Appraises a report against the records of the workspace. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const path = call.args[0]!;
  const bytes = readReportFile(path);
  const books = await openReportBooks(session, bytes, call.text('envelope'));
  const appraisal = appraiseReport(bytes, { ...books, nonce: nonceOf(call) });
  rememberHeard(session.workspace, appraisal, bytes);
  call.out.line(`${path}${trialMark(session.workspace)}`);
  show(call, appraisal);
  call.out.result(appraisalJson(path, appraisal));
  return appraisal.verdict === 'genuine' ? EXIT.done : EXIT.refused;
}

function readReportFile(path: string): Uint8Array {
  const { size } = statSync(path, { throwIfNoEntry: false }) ?? {};
  if (size === undefined) throw wrongUse(`${path}: no such file`);
  return new Uint8Array(readFileSync(path).subarray(0, REPORT_LIMITS.messageSize + 1));
}

function show(call: Call, appraisal: Appraisal): void {
  const { out } = call;
  const { claims, sender, report, refusal } = appraisal;
  showClaims(out, claims);
  if (refusal) {
    showNotTaken(out, refusal, APPRAISAL_REFUSALS[refusal]);
  } else out.line(out.paint.bold('genuine'));
  if (!report || !sender) return;
  out.line(`unit ${sender.className} ${sender.serial} says:`);
  showReport(out, report);
  if (sender.provedBy === 'class key') {
    out.caution(
      'a MAC proves only that somebody with the class key made this report; any unit of the class could have',
    );
  }
}

function appraisalJson(file: string, appraisal: Appraisal): object {
  const { verdict, refusal, claims, sender, age, report, release } = appraisal;
  return {
    format: 'fieldseal.report-appraisal/1',
    file,
    verdict,
    refusal: refusal && { code: refusal, ...APPRAISAL_REFUSALS[refusal] },
    claims,
    sender: sender ? { class: sender.className, serial: sender.serial, proved_by: sender.provedBy } : null,
    age: age ?? null,
    release: release
      ? {
          class: release.className,
          version: release.version,
          sequence_number: String(release.sequenceNumber),
          reference_uri: release.referenceUri,
          image_digests: release.imageDigests.map(toHex),
        }
      : null,
    report: report ? reportJson(report) : null,
  };
}
