import { keyJson } from '../../answers/index.ts';
import { createStationKey } from '../../authority/index.ts';
import { EXIT } from '../exit.ts';
import { attendanceOf, openSession, placeFor } from '../session.ts';
import { showKey } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Makes a production station's wrapping key. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const place = placeFor(call, workspace);
  const made = await createStationKey(workspace, call.args[0]!, place, attendanceOf(call), secrets);
  showKey(call.out, workspace, made.description);
  call.out.fact('ceremony record', made.ceremony.path);
  call.out.result({ format: 'fieldseal.key-made/1', ...keyJson(made.description, undefined, made.ceremony) });
  return EXIT.done;
}
