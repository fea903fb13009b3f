import { withdraw } from '../../release/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

/** Takes back a sealing request, or an approval. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const approver = call.text('approver');
  const { request, approvals, tooLate } = await withdraw(workspace, call.args[0]!, {
    approver,
    reason: call.text('reason')!,
  });
  call.out.line(
    approver === undefined
      ? `request ${request} is withdrawn`
      : `the approval of ${request} by ${approver} is withdrawn`,
  );
  if (tooLate)
    call.out.caution(`sealing ${request} had begun: see "fieldseal ledger list" whether it went through`);
  call.out.result({
    format: 'fieldseal.withdrawn/1',
    request,
    approvals: [...approvals],
    sealing_had_begun: tooLate,
  });
  return EXIT.done;
}
