import { addAuthor } from '../../authority/index.ts';
import { fingerprint } from '../../x509/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import { showCertificate } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Takes in the root of another author of components. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const name = call.args[0]!;
  const certificate = addAuthor(workspace, name, call.text('root')!, call.text('fingerprint')!);
  call.out.line(`the root of ${name} is on record: certificates/${name}.pem`);
  showCertificate(call.out, certificate);
  call.out.line(`  units get it once a class lists ${name} under "authors"`);
  call.out.result({
    format: 'fieldseal.author/1',
    name,
    subject: certificate.subject.text,
    fingerprint: fingerprint(certificate.spki),
    file: `certificates/${name}.pem`,
  });
  return EXIT.done;
}
