import { makeRevocationList } from '../../authority/index.ts';
import { filesOn } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import { listJson, showList } from '../show-list.ts';
import type { Call } from '../spec.ts';

export const LIST_DAYS = 30;

/** Makes the revocation list of a root. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const file = call.text('out')!;
  const output = filesOn().beginOutput(file, { force: call.flag('force') });
  try {
    const module = call.text('module');
    const made = await makeRevocationList(
      workspace,
      call.text('root') ?? 'root',
      call.count('days') ?? LIST_DAYS,
      { secrets, ...(module !== undefined && { module }) },
    );
    output.write(new TextEncoder().encode(made.pem));
    output.settle();
    output.commit();
    showList(call.out, file, made);
    call.out.result(listJson(file, made));
    return EXIT.done;
  } finally {
    output.abandon();
  }
}
