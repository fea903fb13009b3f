import { type RetirementReason, retireKey } from '../workspace/index.ts';
import { EXIT } from './exit.ts';
import { openSession, trialMark } from './session.ts';
import type { Call } from './spec.ts';

/** Enters in the ledger that a key is used no more, and says who does not know of it yet. */
export async function retire(call: Call, purpose: 'signer' | 'root', caution: string): Promise<number> {
  const { workspace } = await openSession(call);
  const name = call.args[0]!;
  const reason = call.text('reason') as RetirementReason;
  const entry = retireKey(workspace, name, purpose, reason);
  call.out.line(`${purpose} ${name} is retired (${reason})${trialMark(workspace)}`);
  call.out.fact('ledger entry', String(entry.number));
  call.out.caution(caution);
  call.out.result({ format: 'fieldseal.key-retired/1', key: name, purpose, reason, ledger: entry });
  return EXIT.done;
}
