import { appendEntry } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { withFleet } from '../fleet.ts';
import type { Call } from '../spec.ts';
import { whoOf } from '../who.ts';

const DAY_MS = 24 * 3600 * 1000;

/** Counts old reports that say nothing which newer ones do not, or takes them out. */
export function run(call: Call): Promise<number> {
  const days = call.count('days')!;
  if (days === 0) throw wrongUse('--days 0: no report would be old', 'for example --days 730');
  const remove = call.flag('confirm');
  return withFleet(call, async ({ workspace, store }) => {
    const before = new Date(workspace.now().getTime() - days * DAY_MS);
    const who = whoOf(call);
    // On record before anything goes: it cannot be brought back.
    if (remove) appendEntry(workspace, 'reports-thinned', { before: before.toISOString(), who });
    const { spare, kept } = await store.thinReports(before, remove);
    const text = `${spare} reports from before ${before.toISOString()} taken out, ${kept} kept`;
    if (remove) await store.note({ kind: 'reports-thinned', who, text });
    call.out.line(
      remove
        ? text
        : `${spare} reports from before ${before.toISOString()} say nothing that newer ones do not; ${kept} would be kept`,
    );
    if (!remove && spare > 0)
      call.out.caution(
        'nothing was taken out; these are signed statements, and they go for good: back up first, then give --confirm',
      );
    const format = 'fieldseal.fleet-thinned/1';
    call.out.result({ format, before: before.toISOString(), removed: remove, spare, kept });
    return EXIT.done;
  });
}
