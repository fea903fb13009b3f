import { listRequests, openRequest, requestJson, SealError } from '../../release/index.ts';
import type { JsonObject, Workspace } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

/** Lists the sealing requests. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const rows: JsonObject[] = [];
  for (const name of listRequests(workspace)) rows.push(await rowOf(workspace, name));
  for (const row of rows) {
    const { request, state, version, requested_by, counted, needed } = row as Record<string, string>;
    call.out.fact(
      request!,
      version === undefined
        ? state!
        : `${state!.padEnd(9)} ${version}, asked for by ${requested_by}, approvals ${counted} of ${needed}`,
    );
  }
  if (rows.length === 0) call.out.line('no sealing requests');
  call.out.result({ format: 'fieldseal.requests/1', requests: rows });
  return EXIT.done;
}

// One that was tampered with does not hide the others.
async function rowOf(workspace: Workspace, name: string): Promise<JsonObject> {
  try {
    return requestJson(await openRequest(workspace, name));
  } catch (error) {
    if (!(error instanceof SealError)) throw error;
    return { request: name, state: 'does not hold', says: error.message };
  }
}
