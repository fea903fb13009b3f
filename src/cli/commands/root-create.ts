import { keyJson } from '../../answers/index.ts';
import { createRoot } from '../../authority/index.ts';
import { EXIT } from '../exit.ts';
import { keyTypeOf } from '../key-type.ts';
import { attendanceOf, openSession, placeFor } from '../session.ts';
import { showCertificate, showKey } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Makes the root authority. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const name = call.text('name') ?? 'root';
  const made = await createRoot(
    workspace,
    { name, type: keyTypeOf(call), place: placeFor(call, workspace)(name), ...attendanceOf(call) },
    secrets,
  );
  showKey(call.out, workspace, made.description);
  showCertificate(call.out, made.certificate);
  call.out.fact('ceremony record', made.ceremony.path);
  call.out.caution(
    'units cannot be given another root in the field unless a spare was provisioned with the first. ' +
      'Make one now, kept elsewhere: fieldseal root create --name spare-root',
  );
  call.out.result({
    format: 'fieldseal.key-made/1',
    ...keyJson(made.description, made.certificate, made.ceremony),
  });
  return EXIT.done;
}
