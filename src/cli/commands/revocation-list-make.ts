import { LIST_DAYS, writeRevocationList } from '../../authority/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import { listJson, showList } from '../show-list.ts';
import type { Call } from '../spec.ts';

/** Makes the revocation list of a root. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const file = call.text('out')!;
  const module = call.text('module');
  const made = await writeRevocationList(
    workspace,
    call.text('root') ?? 'root',
    { file, force: call.flag('force'), days: call.count('days') ?? LIST_DAYS },
    { secrets, ...(module !== undefined && { module }) },
  );
  showList(call.out, file, made);
  call.out.result(listJson(file, made));
  return EXIT.done;
}
