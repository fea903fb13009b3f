/**
 * Rehearsal: before a broadcast, what units would say. Forgeries: every way in which somebody might pass a payload off as
 * genuine is made from the real one and must be refused at its step. Nothing here reads or writes files.
 */
export { type Rehearsal, type RehearsalProgress, type RowResult, rehearse } from './forgeries/rehearse.ts';
export type { Subject } from './forgeries/subject.ts';
