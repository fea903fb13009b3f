import { batchBooks, listBatches, readIssuedJob } from '../../provision/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import { booksText } from '../show-books.ts';
import type { Call } from '../spec.ts';

/** Shows the books of one batch, or of all. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const names = call.args[0] === undefined ? listBatches(workspace) : [call.args[0]];
  const batches = names.map((batch) => {
    const { class_name, issued, serials } = readIssuedJob(workspace, batch);
    return { batch, class: class_name, issued_at: issued, serials, books: batchBooks(workspace, batch) };
  });
  call.out.line(`${batches.length} ${batches.length === 1 ? 'batch' : 'batches'}${trialMark(workspace)}`);
  for (const { batch, class: name, books } of batches)
    call.out.line(`  ${batch}  ${name}  ${booksText(books)}`);
  call.out.result({ format: 'fieldseal.batches/1', batches });
  return EXIT.done;
}
