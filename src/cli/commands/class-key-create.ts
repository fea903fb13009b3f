import { keyJson } from '../../answers/index.ts';
import { createClassKey } from '../../authority/index.ts';
import { readClass } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { attendanceOf, openSession, placeFor } from '../session.ts';
import { showKey } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Makes the key of a symmetric class. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const deviceClass = await readClass(workspace, call.args[0]!);
  const made = await createClassKey(
    workspace,
    deviceClass,
    placeFor(call, workspace),
    attendanceOf(call),
    secrets,
  );
  showKey(call.out, workspace, made.description);
  call.out.fact('ceremony record', made.ceremony.path);
  call.out.caution(
    `a leak of this key, from here or from any one unit, lets its holder forge firmware for every unit of ${deviceClass.name}. ` +
      'No revocation reaches units that trust nothing else. Keep it in a token; consider cohort keys.',
  );
  call.out.result({ format: 'fieldseal.key-made/1', ...keyJson(made.description, undefined, made.ceremony) });
  return EXIT.done;
}
