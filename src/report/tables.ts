/** The registries of draft-ietf-suit-report-18 section 9: one row per item. */

/** One row: a number, the name that the draft gives it, and what it says. */
interface NamedRow {
  readonly code: number;
  readonly name: string;
}

/** A reason for a failure ([RPT] sections 4.2 and 9). */
export interface ReasonRow extends NamedRow {
  readonly says: string;
}

const byCode = <T extends NamedRow>(rows: readonly T[]): ReadonlyMap<number, T> =>
  new Map(rows.map((row) => [row.code, row]));

/** SUIT_Report Elements. */
export const REPORT_ELEMENTS = byCode([
  { code: 2, name: 'nonce' },
  { code: 3, name: 'records' },
  { code: 4, name: 'result' },
  { code: 5, name: 'result-code' },
  { code: 6, name: 'result-record' },
  { code: 7, name: 'result-reason' },
  { code: 8, name: 'capability-report' },
  { code: 99, name: 'reference' },
]);

/** SUIT_Report Reasons. */
export const REASONS = byCode<ReasonRow>([
  { code: 0, name: 'ok', says: 'the result is good' },
  { code: 1, name: 'cbor-parse', says: 'something could not be read' },
  { code: 2, name: 'cose-unsupported', says: 'a COSE structure or header is not supported' },
  { code: 3, name: 'alg-unsupported', says: 'an algorithm is not supported' },
  { code: 4, name: 'unauthorised', says: 'signature, MAC or digest do not verify, or not for this purpose' },
  { code: 5, name: 'command-unsupported', says: 'a command is not supported' },
  { code: 6, name: 'component-unsupported', says: 'a component does not exist' },
  { code: 7, name: 'component-unauthorised', says: 'the signer has no right to the component' },
  { code: 8, name: 'parameter-unsupported', says: 'a parameter does not exist' },
  { code: 9, name: 'severing-unsupported', says: 'severed parts are not supported' },
  { code: 10, name: 'condition-failed', says: 'a condition does not hold' },
  { code: 11, name: 'operation-failed', says: 'a command could not be carried out' },
  { code: 12, name: 'invoke-pending', says: 'the image is about to run; how it ends is not known yet' },
]);

/** SUIT Capability Report Elements. The first four must be there ([RPT] section 6). */
export const CAPABILITY_ELEMENTS = byCode([
  { code: 1, name: 'components' },
  { code: 2, name: 'commands' },
  { code: 3, name: 'parameters' },
  { code: 4, name: 'algorithms' },
  { code: 5, name: 'envelope' },
  { code: 6, name: 'manifest' },
  { code: 7, name: 'common' },
  { code: 8, name: 'text' },
  { code: 9, name: 'component-text' },
  { code: 10, name: 'dependencies' },
]);

/**
 * Sections that a record may name, by their keys in the manifest ([RPT] section 3). Two are ours: the draft has none for
 * the shared sequence, which stands in the common element (3), nor for what fails before any sequence (0).
 */
export const SECTIONS = byCode([
  { code: 0, name: 'none' },
  { code: 3, name: 'shared' },
  { code: 7, name: 'validate' },
  { code: 8, name: 'load' },
  { code: 9, name: 'invoke' },
  { code: 15, name: 'dependency-resolution' },
  { code: 16, name: 'payload-fetch' },
  { code: 18, name: 'candidate-verification' },
  { code: 20, name: 'install' },
]);

/** The key of a section. Throws `TypeError` for a name that is none. */
export function sectionCode(name: string): number {
  for (const row of SECTIONS.values()) if (row.name === name) return row.code;
  throw new TypeError(`no section is named '${name}'`);
}
