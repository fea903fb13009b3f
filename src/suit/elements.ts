import type { CborItem, CborMapping } from '../cbor/index.ts';
import { SuitError } from './errors.ts';
import { type Extensions, type Row, runsWith } from './tables/index.ts';

/** The values of a map whose keys must all be rows that run with the extensions given. Throws `SuitError`. */
export function collect(
  map: CborMapping,
  table: ReadonlyMap<number, Row>,
  where: string,
  extensions: Extensions,
): Map<number, CborItem> {
  const found = new Map<number, CborItem>();
  for (const { key, value } of map.entries) {
    const row = key.type === 'uint' ? table.get(Number(key.value)) : undefined;
    if (!row) {
      throw new SuitError(
        'element-unknown',
        key.start,
        `${where} holds an element that nobody assigned ([M] 11)`,
      );
    }
    if (!runsWith(row, extensions)) {
      throw new SuitError(
        'element-unsupported',
        key.start,
        `${where} holds ${row.name} (element ${row.code}, ${row.source}), which this processor does not run`,
      );
    }
    found.set(row.code, value);
  }
  return found;
}
