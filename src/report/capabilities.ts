import {
  COMMANDS,
  COMMON_KEYS,
  ENVELOPE_KEYS,
  MAIN_COMPONENT,
  MANIFEST_KEYS,
  PARAMETERS,
  type Row,
  runsWith,
  SHA_256,
  STAGING_COMPONENT,
} from '../suit/index.ts';
import { componentIdentifier, extensionsOf, UNIT_PROFILES, type UnitRecord } from '../unit/index.ts';
import type { Capabilities } from './report.ts';

/**
 * What a unit can do ([RPT] section 6): components, then the rows of the tables that run. Mandatory ones are listed too,
 * so that one report answers the question "does this unit understand code N".
 */
export function unitCapabilities({ memory, profile }: UnitRecord): Capabilities {
  const extensions = extensionsOf({ memory });
  const running = (table: ReadonlyMap<number, Row>) =>
    [...table.values()].filter((row) => runsWith(row, extensions)).map(({ code }) => code);
  const { algorithm, keyDistribution, content } = UNIT_PROFILES.find(({ name }) => name === profile)!;
  const identifiers = memory.shape === 'staged' ? [MAIN_COMPONENT, STAGING_COMPONENT] : [MAIN_COMPONENT];
  const further = (memory.components ?? []).map(({ name }) => componentIdentifier(name));
  return {
    components: [...identifiers, ...further].map((identifier) => ({ identifier, prefix: false })),
    lists: [
      { key: 2, codes: running(COMMANDS) },
      { key: 3, codes: running(PARAMETERS) },
      { key: 4, codes: [SHA_256, algorithm, keyDistribution, content] },
      { key: 5, codes: running(ENVELOPE_KEYS) },
      { key: 6, codes: running(MANIFEST_KEYS) },
      { key: 7, codes: running(COMMON_KEYS) },
    ],
  };
}
