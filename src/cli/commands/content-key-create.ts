import { keyJson } from '../../answers/index.ts';
import { createContentKeyFor } from '../../authority/index.ts';
import { readClass } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { attendanceOf, openSession } from '../session.ts';
import { showKey } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Makes the key under which encrypted images reach a class or cohort. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const deviceClass = await readClass(workspace, call.args[0]!);
  const cohort = call.text('cohort');
  const made = await createContentKeyFor(workspace, deviceClass, cohort, attendanceOf(call), secrets);
  showKey(call.out, workspace, made.description);
  call.out.fact('ceremony record', made.ceremony.path);
  const sharers = cohort === undefined ? `the class ${deviceClass.name}` : `the cohort ${cohort}`;
  call.out.caution(
    `units of ${sharers} share this key: whoever reads it out of one can read every image that is sent to them. ` +
      'It lets nobody forge; units provisioned before it was made do not hold it.',
  );
  call.out.result({ format: 'fieldseal.key-made/1', ...keyJson(made.description, undefined, made.ceremony) });
  return EXIT.done;
}
