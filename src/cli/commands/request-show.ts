import { openRequest, requestJson } from '../../release/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import { showRequest } from '../show-request.ts';
import type { Call } from '../spec.ts';

/** Shows what a sealing request froze. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const json = requestJson(await openRequest(workspace, call.args[0]!));
  showRequest(call.out, json);
  call.out.result(json);
  return EXIT.done;
}
