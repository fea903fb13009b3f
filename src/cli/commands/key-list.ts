import {
  leavesCaution,
  leavesRefusal,
  listKeys,
  readCertificates,
  readLeaves,
} from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import { keyJson, leavesJson, leavesText, validity } from '../show-key.ts';
import type { Call } from '../spec.ts';

const SOON_DAYS = 365;
const DAY_MS = 86_400_000;

/** Lists keys and certificates. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const rows = listKeys(workspace).map((description) => ({
    description,
    certificate: readCertificates(workspace, description.name)[0],
    leaves: readLeaves(workspace, description),
    refusal: leavesRefusal(workspace, description),
  }));
  call.out.line(`${rows.length} ${rows.length === 1 ? 'key' : 'keys'}${trialMark(workspace)}`);
  for (const { description, certificate, leaves, refusal } of rows) {
    const { name, purpose, custody, fingerprint } = description;
    const dates = certificate ? `  ${validity(certificate)}` : '';
    call.out.fact(name, `${purpose.padEnd(8)} ${custody.padEnd(7)} ${fingerprint.slice(0, 16)}${dates}`);
    if (leaves) call.out.fact('', `signatures left ${leavesText(leaves)}`);
    const few = leaves && leavesCaution(name, leaves);
    if (few) call.out.caution(few);
    if (refusal && refusal.code !== 'leaves-used-up') call.out.caution(refusal.message);
    const daysLeft = certificate?.notAfter
      ? Math.floor((certificate.notAfter.getTime() - workspace.now().getTime()) / DAY_MS)
      : undefined;
    if (daysLeft !== undefined && daysLeft < SOON_DAYS) {
      call.out.caution(
        daysLeft < 0
          ? `the certificate of ${name} has lapsed`
          : `the certificate of ${name} lapses in ${daysLeft} days`,
      );
    }
  }
  call.out.result({
    format: 'fieldseal.keys/1',
    keys: rows.map(({ description, certificate, leaves, refusal }) => ({
      ...keyJson(description, certificate),
      signatures: leavesJson(leaves, refusal?.code),
    })),
  });
  return EXIT.done;
}
