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
  const spare = call.flag('spare');
  const name = call.text('name') ?? (spare ? 'spare-root' : 'root');
  const made = await createRoot(
    workspace,
    {
      name,
      spare,
      type: keyTypeOf(call),
      place: placeFor(call, workspace)(name),
      ...attendanceOf(call),
    },
    secrets,
  );
  showKey(call.out, workspace, made.description);
  showCertificate(call.out, made.certificate);
  call.out.fact('ceremony record', made.ceremony.path);
  call.out.caution(
    spare
      ? 'only units provisioned from now on hold it. Keep it elsewhere than the root, and make a trust signer below it before it is ' +
          `needed: fieldseal signer create NAME --purpose trust --root ${name}`
      : 'units cannot be given another root in the field unless a spare was provisioned with the first. ' +
          'Make one now, kept elsewhere: fieldseal root create --spare',
  );
  call.out.result({
    format: 'fieldseal.key-made/1',
    ...keyJson(made.description, made.certificate, made.ceremony),
  });
  return EXIT.done;
}
