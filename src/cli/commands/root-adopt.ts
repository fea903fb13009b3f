import { keyJson } from '../../answers/index.ts';
import { adoptRoot } from '../../authority/index.ts';
import { EXIT } from '../exit.ts';
import { attendanceOf, openSession } from '../session.ts';
import { showCertificate, showKey } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Takes in the certificate of an offline root. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const spare = call.flag('spare');
  const root = { name: call.text('name') ?? (spare ? 'spare-root' : 'root'), spare, ...attendanceOf(call) };
  const made = adoptRoot(workspace, call.args[0]!, call.text('fingerprint')!, root);
  showKey(call.out, workspace, made.description);
  showCertificate(call.out, made.certificate);
  call.out.fact('ceremony record', made.ceremony.path);
  call.out.result({
    format: 'fieldseal.key-made/1',
    ...keyJson(made.description, made.certificate, made.ceremony),
  });
  return EXIT.done;
}
