import { certificateJson } from '../../answers/index.ts';
import { certifyRequest, openAuthority, readSignerRequest, SIGNER_DAYS } from '../../authority/index.ts';
import { fingerprintText, PURPOSE_TEXT, purposeOf } from '../../x509/index.ts';
import { EXIT } from '../exit.ts';
import { secretsFor } from '../session.ts';
import { showCertificate } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Certifies a signer's request on the offline machine. */
export async function run(call: Call): Promise<number> {
  const authority = openAuthority(call.text('dir')!);
  const request = readSignerRequest(authority, call.args[0]!, call.text('fingerprint')!);
  call.out.line(
    `request of ${request.subject.text}${authority.trial ? '  [TRIAL: not for production]' : ''}`,
  );
  call.out.fact('fingerprint', fingerprintText(request.spki));
  call.out.fact('asks to sign for', request.subjectAltUris.join(', '));
  call.out.fact('asks for generation', String(request.generation ?? 0));
  const asked = purposeOf(request);
  call.out.fact(
    'asks to sign',
    asked === undefined || asked === 'release' ? 'releases' : PURPOSE_TEXT[asked],
  );
  if (request.role !== undefined) call.out.fact('asks for the role', request.role);
  const options = { days: call.count('days') ?? SIGNER_DAYS, out: call.text('out')!, now: new Date() };
  const certificate = await certifyRequest(authority, request, options, secretsFor(call, !authority.trial));
  showCertificate(call.out, certificate);
  call.out.line(`carry ${options.out} back to the workspace: fieldseal signer accept NAME ${options.out}`);
  call.out.result({
    format: 'fieldseal.certified/1',
    file: options.out,
    certificate: certificateJson(certificate),
  });
  return EXIT.done;
}
