import { classJson, readClass } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import { showClass } from '../show-class.ts';
import type { Call } from '../spec.ts';

/** Shows one class. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const deviceClass = await readClass(workspace, call.args[0]!);
  showClass(call.out, workspace, deviceClass);
  call.out.result(classJson(workspace, deviceClass));
  return EXIT.done;
}
