import type { CborItem } from '../../cbor/index.ts';
import type { Row } from '../tables/index.ts';
import { integerOf, type Shape, unknownPart } from './shape.ts';

/** `condition-image-match` is titled "condition: image match". */
export function titleOf(row: Row): string {
  const words = row.name.replace(/^(condition|directive|parameter|text)-/, '$1: ').replaceAll('-', ' ');
  return row.support !== 'named' ? words : `${words} (known, not run here)`;
}

export function rowOf<R extends Row>(table: ReadonlyMap<number, R>, key: CborItem): R | undefined {
  const code = integerOf(key);
  return code === undefined ? undefined : table.get(code);
}

/** A map whose keys are rows of a table. */
export function byTable<R extends Row>(
  table: ReadonlyMap<number, R>,
  what: string,
  shapeOf: (row: R) => Shape,
): Shape['entry'] {
  return (key) => {
    const row = rowOf(table, key);
    return row ? { name: row.name, shape: shapeOf(row) } : unknownPart(what, key);
  };
}
