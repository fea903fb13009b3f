/**
 * Rehearsal: before a broadcast, what units would say. Forgeries: every way in which somebody might pass a payload off as
 * genuine is made from the real one and must be refused at its step. Acceptance: every unit of a fleet is asked, once for each group of
 * units that are the same to the payload's checks. Nothing here writes files; inventories are read.
 */
export {
  type Acceptance,
  type AcceptanceProgress,
  type AcceptanceRequest,
  rehearseAcceptance,
} from './acceptance/accept.ts';
export type { Classes, ClassOfUnits } from './acceptance/classes.ts';
export { acceptanceJson } from './acceptance/document.ts';
export { type Columns, columnsFromText, OWN_NAMES } from './acceptance/inventory/columns.ts';
export type { UnitEntry, UnitFacts, UnitSource } from './acceptance/inventory/facts.ts';
export { type Inventory, openInventory } from './acceptance/inventory/inventory.ts';
export { classesOf } from './acceptance/of-workspace.ts';
export { runningImages } from './acceptance/running.ts';
export { type AcceptanceDocument, acceptanceSchema } from './acceptance/schema.ts';
export { enterRehearsal } from './forgeries/enter.ts';
export { type Forgery, stepOfRefusal } from './forgeries/forgery.ts';
export { PLACES } from './forgeries/places.ts';
export { type Rehearsal, type RehearsalProgress, type RowResult, rehearse } from './forgeries/rehearse.ts';
export { countsOf, rehearsalJson } from './forgeries/result.ts';
export { type RehearsalDocument, rehearsalSchema } from './forgeries/schema.ts';
export type { Subject } from './forgeries/subject.ts';
export { FORGERIES } from './forgeries/table.ts';
export { THREATS, type Threat } from './forgeries/threats.ts';
export { requireEnvelope } from './require-envelope.ts';
