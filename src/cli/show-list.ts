import type { MadeList } from '../authority/index.ts';
import type { Output } from './output.ts';

/** A revocation list for people. */
export function showList(out: Output, file: string, { number, revoked, nextUpdate }: MadeList): void {
  out.line(`wrote ${file}: ${revoked.length} revoked`);
  for (const { serial, date, reason } of revoked)
    out.fact(serial, `${date.toISOString().slice(0, 10)}  ${reason ?? ''}`);
  out.fact('list number', String(number));
  out.fact('next list until', nextUpdate.toISOString().slice(0, 10));
  out.caution('units read no lists: they learn of it by a trust update (fieldseal trust-update make).');
}

/** The same for programs. */
export function listJson(file: string, { number, revoked, nextUpdate }: MadeList): object {
  return {
    format: 'fieldseal.revocation-list/1',
    file,
    number,
    next_update: nextUpdate.toISOString(),
    revoked: revoked.map(({ serial, date, reason }) => ({ serial, date: date.toISOString(), reason })),
  };
}
