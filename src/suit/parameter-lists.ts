import type { CborItem } from '../cbor/index.ts';
import { SuitError } from './errors.ts';
import {
  type ParameterContext,
  type Parameters,
  readParameters,
  requireComponent,
  requireParameter,
} from './parameters.ts';
import { asArray, asMap, asUint } from './read.ts';

/** Argument of override-multiple: parameters for each component index ([UM] section 5.7). Throws `SuitError`. */
export function readParametersByComponent(
  item: CborItem,
  name: string,
  context: ParameterContext,
): ReadonlyMap<number, Parameters> {
  return readByComponent(item, name, context, (value) => readParameters(value, context));
}

/**
 * Argument of copy-params: codes of parameters for each component index that they come from ([UM] section 5.8).
 * Throws `SuitError`.
 */
export function readCopies(
  item: CborItem,
  name: string,
  context: ParameterContext,
): ReadonlyMap<number, readonly number[]> {
  return readByComponent(item, name, context, (value) => {
    const codes = asArray(value, `a list of ${name}`, 'command-argument');
    if (codes.length === 0) throw empty(value, name);
    return codes.map((code) => readCopiedCode(code, name, context));
  });
}

function readCopiedCode(item: CborItem, name: string, context: ParameterContext): number {
  const row = requireParameter(item, context);
  if (row.scope === 'component') return row.code;
  throw new SuitError(
    'command-argument',
    item.start,
    `${row.name} belongs to no component: ${name} cannot copy it ([M] section 8.4.8)`,
  );
}

function readByComponent<T>(
  item: CborItem,
  name: string,
  context: ParameterContext,
  read: (item: CborItem) => T,
): ReadonlyMap<number, T> {
  const { entries } = asMap(item, `the argument of ${name}`, 'command-argument');
  if (entries.length === 0) throw empty(item, name);
  return new Map(
    entries.map(({ key, value }) => {
      const index = asUint(key, `a component index of ${name}`, 'command-argument');
      requireComponent(index, context.componentCount, key.start);
      return [index, read(value)];
    }),
  );
}

function empty(item: CborItem, name: string): SuitError {
  return new SuitError('command-argument', item.start, `${name} names nothing ([UM] Appendix A)`);
}
