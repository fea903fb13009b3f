import { certificateJson } from '../../answers/index.ts';
import { acceptSigner } from '../../authority/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import { showCertificate } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Takes in a signer's certificate from the offline machine. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const [name, file] = call.args as [string, string];
  const certificate = acceptSigner(workspace, name, file);
  call.out.line(`signer ${name} is certified${trialMark(workspace)}`);
  showCertificate(call.out, certificate);
  call.out.result({
    format: 'fieldseal.certified/1',
    signer: name,
    certificate: certificateJson(certificate),
  });
  return EXIT.done;
}
