import { join } from 'node:path';
import { keyJson } from '../../answers/index.ts';
import { createAuthority } from '../../authority/index.ts';
import { fingerprintText } from '../../x509/index.ts';
import { EXIT } from '../exit.ts';
import { keyTypeOf } from '../key-type.ts';
import { attendanceOf, secretsFor } from '../session.ts';
import { showCertificate } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Makes an offline authority's folder. */
export async function run(call: Call): Promise<number> {
  const trial = call.flag('trial');
  const authority = await createAuthority(
    call.args[0]!,
    {
      vendorDomain: call.text('vendor-domain')!,
      trial,
      type: keyTypeOf(call),
      now: new Date(),
      ...attendanceOf(call),
    },
    secretsFor(call, !trial),
  );
  const certificateFile = join(authority.folder, 'root-certificate.pem');
  call.out.line(
    `offline authority made in ${authority.folder}${trial ? '  [TRIAL: not for production]' : ''}`,
  );
  showCertificate(call.out, authority.certificate);
  call.out.fact('fingerprint', fingerprintText(authority.certificate.spki));
  call.out.line(
    `carry ${certificateFile} to the workspace, read the fingerprint aloud there, and type it in:`,
  );
  call.out.line('  fieldseal root adopt root-certificate.pem --fingerprint "..."');
  call.out.result({
    format: 'fieldseal.authority-made/1',
    folder: authority.folder,
    certificate_file: certificateFile,
    ...keyJson(authority.description, authority.certificate),
  });
  return EXIT.done;
}
