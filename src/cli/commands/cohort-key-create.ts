import { keyJson } from '../../answers/index.ts';
import { createCohortKey } from '../../authority/index.ts';
import { readClass } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { attendanceOf, openSession, placeFor } from '../session.ts';
import { showKey } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Makes the key of one cohort. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const [className, cohort] = call.args as [string, string];
  const deviceClass = await readClass(workspace, className);
  const place = placeFor(call, workspace);
  const made = await createCohortKey(workspace, deviceClass, cohort, place, attendanceOf(call), secrets);
  showKey(call.out, workspace, made.description);
  call.out.fact('ceremony record', made.ceremony.path);
  call.out.result({ format: 'fieldseal.key-made/1', ...keyJson(made.description, undefined, made.ceremony) });
  return EXIT.done;
}
