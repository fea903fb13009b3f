import { retireApprover } from '../../authority/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

/** Ends an approver's key. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const name = call.args[0]!;
  const reason = call.text('reason')!;
  retireApprover(workspace, name, reason);
  call.out.line(`approver ${name} is retired: nothing that it signed counts from now on`);
  call.out.result({ format: 'fieldseal.approver-retired/1', name, reason });
  return EXIT.done;
}
