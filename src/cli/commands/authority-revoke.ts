import { LIST_DAYS, openAuthority, revokeOffline } from '../../authority/index.ts';
import { filesOn, type RetirementReason } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { requireFree } from '../require-free.ts';
import { secretsFor } from '../session.ts';
import { listJson, showList } from '../show-list.ts';
import type { Call } from '../spec.ts';

/** Revokes a certificate on the offline machine. */
export async function run(call: Call): Promise<number> {
  const authority = openAuthority(call.text('dir')!);
  const file = call.text('out')!;
  requireFree(file);
  const made = await revokeOffline(
    authority,
    call.args[0]!.toLowerCase(),
    {
      reason: call.text('reason') as RetirementReason,
      days: call.count('days') ?? LIST_DAYS,
      now: new Date(),
    },
    secretsFor(call, !authority.trial),
  );
  filesOn().createNew(file, made.pem);
  showList(call.out, file, made);
  call.out.result(listJson(file, made));
  return EXIT.done;
}
