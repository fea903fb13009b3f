import { ledgerVerdictJson, verifyLedger } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Verifies the hash chain and everything that refers to it. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const verdict = verifyLedger(workspace);
  call.out.line(`ledger ${verdict.intact ? 'intact' : 'NOT intact'}${trialMark(workspace)}`);
  call.out.fact('entries', String(verdict.entries));
  call.out.fact('records', String(verdict.records));
  call.out.fact('head', verdict.head ? `${verdict.head.number}  ${verdict.head.sha256}` : 'empty');
  for (const finding of verdict.findings) call.out.fact(finding.kind, finding.says);
  call.out.result(ledgerVerdictJson(verdict));
  return verdict.intact ? EXIT.done : EXIT.refused;
}
