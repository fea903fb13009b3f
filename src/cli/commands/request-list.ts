import { requestsJson } from '../../release/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

/** Lists the sealing requests. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const rows = await requestsJson(workspace);
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
