import { readLedger } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

const SHOWN = ['class', 'key', 'serial', 'batch', 'sequence_number', 'version', 'record'] as const;

/** Lists the ledger in order. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const entries = readLedger(workspace);
  call.out.line(`${entries.length} ledger entries${trialMark(workspace)}`);
  for (const { number, time, kind, facts } of entries) {
    const told = SHOWN.flatMap((name) =>
      facts[name] === undefined ? [] : [`${name.replace(/_/g, ' ')} ${facts[name]}`],
    );
    call.out.line(
      `  ${String(number).padStart(4)}  ${time.slice(0, 19)}Z  ${kind.padEnd(20)} ${told.join(', ')}`,
    );
  }
  call.out.result({ format: 'fieldseal.ledger/1', entries: entries.map((entry) => ({ ...entry })) });
  return EXIT.done;
}
