import { toHex } from '../bytes/index.ts';
import type { AttestedUnit } from './appraisal.ts';
import type { EatClaims } from './claims.ts';
import type { Notes } from './notes.ts';

const DEBUG = 'RFC 9711 4.2.9';
const BOOT = 'RFC 9711 4.2.12, 4.2.13';
const SELF_CHECK = 'RFC 9711 4.2.17';

/** Whether every debug port is closed, and was since the start. */
export function judgeDebug(notes: Notes, { dbgstat }: EatClaims): void {
  if (dbgstat === undefined) notes.fails('debug-unstated', 'no dbgstat', DEBUG);
  else if (dbgstat === 'enabled') notes.fails('debug-open', 'enabled', DEBUG);
  else if (dbgstat === 'disabled') notes.fails('debug-doubtful', 'disabled, but not since the start', DEBUG);
  else notes.holds('debug port', dbgstat, DEBUG);
}

/** Whether the count of starts goes on from what was heard before. The seed tells one start from another. */
export function judgeBoot(
  notes: Notes,
  { bootcount, bootseed }: EatClaims,
  { lastBootCount }: AttestedUnit,
): void {
  const seed = `seed ${toHex(bootseed!).slice(0, 16)}`;
  if (bootcount === undefined) notes.skip('boot', `${seed}; the unit counts no starts`, BOOT);
  else if (lastBootCount !== undefined && bootcount < lastBootCount) {
    notes.fails('boot-count-behind', `start ${bootcount}; it said ${lastBootCount} before`, BOOT);
  } else notes.holds('boot', `start ${bootcount}, ${seed}`, BOOT);
}

/** What the unit's own periodic check found, where it has one. */
export function judgeSelfCheck(notes: Notes, { results }: EatClaims): void {
  const all = results.flatMap((group) => group.results);
  const failed = all.find(({ result }) => result === 'fail');
  if (failed) notes.fails('self-check-failed', failed.id, SELF_CHECK);
  else if (all.length === 0) notes.skip('self-check', 'the unit tells of none', SELF_CHECK);
  else if (all.every(({ result }) => result !== 'success')) {
    notes.skip('self-check', 'no round was completed since the start', SELF_CHECK);
  } else notes.holds('self-check', all.map(({ id, result }) => `${id}: ${result}`).join(', '), SELF_CHECK);
}
