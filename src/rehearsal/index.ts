/**
 * Rehearsal: before a broadcast, what units would say. Forgeries: every way in which somebody might pass a payload off as
 * genuine is made from the real one and must be refused at its step. Nothing here reads or writes files.
 */
export { type Forgery, stepOfRefusal } from './forgeries/forgery.ts';
export { type Rehearsal, type RehearsalProgress, type RowResult, rehearse } from './forgeries/rehearse.ts';
export { countsOf, rehearsalJson } from './forgeries/result.ts';
export type { RehearsalDocument } from './forgeries/schema.ts';
export type { Subject } from './forgeries/subject.ts';
export { FORGERIES } from './forgeries/table.ts';
export { THREATS, type Threat } from './forgeries/threats.ts';
