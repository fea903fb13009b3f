import { FleetError } from './error.ts';
import type { UnitName, UnitRow } from './types.ts';

const IDENTIFIER = /^[0-9a-f]{32}$/;
const DIGEST = /^[0-9a-f]{64}$/;
/** Texts that any database keeps and any terminal shows. */
const PLAIN = /^\P{Cc}{1,200}$/u;
const LONGEST_TAGS = 4096;
const HIGHEST_SEQUENCE = 2n ** 63n - 1n;

/** Refuses what is no class and device identifier. Throws `FleetError` unit-malformed. */
export function requireName({ classId, device }: UnitName): void {
  if (!IDENTIFIER.test(classId)) throw malformed('class identifier', '32 lower-case hexadecimal digits');
  if (!IDENTIFIER.test(device)) throw malformed('device identifier', '32 lower-case hexadecimal digits');
}

/** Refuses a row that is none. Throws `FleetError` unit-malformed. */
export function requireRow(row: UnitRow): void {
  requireName(row);
  for (const name of ['serial', 'group', 'hardware', 'version'] as const) {
    if (row[name] !== undefined && !PLAIN.test(row[name]))
      throw malformed(name, '1 to 200 characters that can be printed');
  }
  requireDigest(row.digest);
  const { sequence, tags } = row;
  if (sequence !== undefined && (sequence < 0n || sequence > HIGHEST_SEQUENCE))
    throw malformed('sequence number', `a whole number up to ${HIGHEST_SEQUENCE}`);
  if (tags !== undefined && !tagsFit(tags))
    throw malformed('tags', `names and texts that can be printed, ${LONGEST_TAGS} characters in all`);
}

export function requireDigest(digest: string | undefined): void {
  if (digest !== undefined && !DIGEST.test(digest))
    throw malformed('digest', '64 lower-case hexadecimal digits');
}

function tagsFit(tags: Readonly<Record<string, string>>): boolean {
  return (
    JSON.stringify(tags).length <= LONGEST_TAGS &&
    Object.entries(tags)
      .flat()
      .every((text) => PLAIN.test(text))
  );
}

function malformed(what: string, expected: string): FleetError {
  return new FleetError(
    'unit-malformed',
    `the ${what} of a unit is not as it should be; the unit was not taken`,
    `expected ${expected}`,
  );
}
