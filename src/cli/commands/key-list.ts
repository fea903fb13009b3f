import { keyStandings, keysJson } from '../../answers/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import { leavesText, validity } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Lists keys and certificates. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const standings = keyStandings(workspace);
  call.out.line(`${standings.length} ${standings.length === 1 ? 'key' : 'keys'}${trialMark(workspace)}`);
  for (const { description, certificate, leaves, retired, cautions } of standings) {
    const { name, purpose, custody, fingerprint } = description;
    const dates = certificate ? `  ${validity(certificate)}` : '';
    call.out.fact(name, `${purpose.padEnd(8)} ${custody.padEnd(7)} ${fingerprint.slice(0, 16)}${dates}`);
    if (retired) call.out.fact('', `retired ${retired.time.slice(0, 10)}: ${retired.reason}`);
    if (leaves) call.out.fact('', `signatures left ${leavesText(leaves)}`);
    for (const caution of cautions) call.out.caution(caution);
  }
  call.out.result(keysJson(standings));
  return EXIT.done;
}
