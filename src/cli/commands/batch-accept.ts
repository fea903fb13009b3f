import { readTextFile } from '../../keys/index.ts';
import { acceptResult, LARGEST_BATCH_FILE, readResult } from '../../provision/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import { booksText } from '../show-books.ts';
import type { Call } from '../spec.ts';

/** Takes in a station's result. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const { job, units, books } = acceptResult(
    workspace,
    readResult(readTextFile(call.args[0]!, LARGEST_BATCH_FILE)),
  );
  call.out.line(`batch ${job.batch} of class ${job.class_name}${trialMark(workspace)}`);
  for (const unit of units) {
    if (unit.outcome === 'open') call.out.fact(unit.serial, `open: ${unit.problems.join('; ')}`);
    if (unit.outcome === 'scrapped') call.out.fact(unit.serial, `scrapped: ${unit.reason}`);
  }
  call.out.fact('books', booksText(books));
  const refused = units.filter((unit) => unit.outcome === 'open');
  call.out.result({
    format: 'fieldseal.batch-accepted/1',
    batch: job.batch,
    books,
    units: units.map((unit) => ({
      serial: unit.serial,
      outcome: unit.outcome,
      problems: unit.outcome === 'open' ? unit.problems : [],
    })),
  });
  return refused.length === 0 ? EXIT.done : EXIT.refused;
}
