import { fromHex } from '../bytes/index.ts';
import { hssShapeText } from '../crypto/index.ts';
import type { KeyDescription } from '../keys/index.ts';
import { type LeafState, readLeaves, shapeOf, type Workspace } from '../workspace/index.ts';
import { type Certificate, fingerprintText, PURPOSE_TEXT, purposeOf } from '../x509/index.ts';
import type { Output } from './output.ts';
import { trialMark } from './session.ts';

/** A key for people: custody and fingerprint. */
export function showKey(out: Output, workspace: Workspace, description: KeyDescription): void {
  out.line(`${description.purpose} key ${description.name}${trialMark(workspace)}`);
  out.fact('custody', description.token ? `token, ${description.token.uri}` : description.custody);
  out.fact('algorithm', description.algorithm);
  const leaves = readLeaves(workspace, description);
  if (leaves) {
    out.fact('parameters', hssShapeText(shapeOf(description)!));
    out.fact('signatures left', leavesText(leaves));
  }
  if (description.spki) out.fact('fingerprint', fingerprintText(fromHex(description.spki)));
  else out.fact('check value', description.fingerprint);
}

/** How many signatures an HSS/LMS key has left, for people. */
export function leavesText({ remaining, capacity }: LeafState): string {
  return `${remaining} of ${capacity}`;
}

/** A certificate for people. */
export function showCertificate(out: Output, certificate: Certificate): void {
  out.fact('certificate', certificate.subject.text);
  out.fact('issued by', certificate.issuer.text);
  out.fact('valid', validity(certificate));
  if (certificate.subjectAltUris.length > 0) out.fact('may sign for', certificate.subjectAltUris.join(', '));
  if (certificate.generation !== undefined) out.fact('generation', String(certificate.generation));
  if (certificate.role !== undefined) out.fact('role', certificate.role);
  const purpose = purposeOf(certificate);
  if (purpose && purpose !== 'release') out.fact('signs', `${PURPOSE_TEXT[purpose]}, and no release`);
}

/** Dates of a certificate for people. */
export function validity({ notBefore, notAfter }: Certificate): string {
  const day = (date: Date) => date.toISOString().slice(0, 10);
  return `${day(notBefore)} to ${notAfter ? day(notAfter) : 'no defined end'}`;
}
