import type { CborItem } from '../cbor/index.ts';
import { SuitError } from './errors.ts';
import { SUIT_LIMITS, type SuitLimits } from './limits.ts';
import { asArray, asBytes, asMap, asUint } from './read.ts';

/** A segment is one byte string; the identifier of a component is a list of them ([M] section 8.4.5.1). */
export type ComponentIdentifier = readonly Uint8Array[];

/** What common says about a component that holds the envelope of another manifest ([TD] section 5.2.2). */
export interface Dependency {
  readonly prefix: ComponentIdentifier | undefined;
}

/** What a component index stands for. */
export interface Target {
  readonly identifier: ComponentIdentifier;
  readonly dependency: Dependency | undefined;
  /**
   * What goes before the identifiers of the dependency's own components: its prefix, where the list of components
   * already names the dependency itself. docs/processor-rules.md, rule 3.
   */
  readonly scope: ComponentIdentifier;
}

/** The list of components ([M] section 8.4.5). Throws `SuitError`. */
export function readComponents(list: CborItem, limits: SuitLimits): ComponentIdentifier[] {
  const items = asArray(list, 'the list of components', 'components');
  if (items.length === 0 || items.length > limits.components) {
    throw new SuitError(
      'components',
      list.start,
      `the manifest lists ${items.length} components; 1 to ${limits.components} are taken`,
    );
  }
  return items.map((item) => readComponentIdentifier(item, limits));
}

/** A component identifier: an array of byte strings ([M] section 8.4.5.1). Throws `SuitError`. */
export function readComponentIdentifier(
  item: CborItem,
  limits: SuitLimits = SUIT_LIMITS,
): ComponentIdentifier {
  const segments = asArray(item, 'a component identifier', 'components');
  if (segments.length > limits.componentSegments) {
    const found = `a component identifier of ${segments.length} segments`;
    throw new SuitError('limit', item.start, `${found}; at most ${limits.componentSegments} are taken`);
  }
  return segments.map(
    (segment) => asBytes(segment, 'a segment of a component identifier', 'components').value,
  );
}

const PREFIX = 1;

/** SUIT_Dependencies: from component index to metadata ([TD] section 5.2.2). Throws `SuitError`. */
export function readDependencies(item: CborItem, limits: SuitLimits): ReadonlyMap<number, Dependency> {
  const { entries } = asMap(item, 'the map of dependencies', 'components');
  if (entries.length === 0) {
    throw new SuitError('components', item.start, 'the map of dependencies is empty ([TD] section 5.2.2)');
  }
  return new Map(
    entries.map(({ key, value }) => [
      asUint(key, 'the component index of a dependency', 'component-index'),
      readMetadata(value, limits),
    ]),
  );
}

function readMetadata(item: CborItem, limits: SuitLimits): Dependency {
  let prefix: ComponentIdentifier | undefined;
  for (const { key, value } of asMap(item, 'the metadata of a dependency', 'components').entries) {
    if (key.type !== 'uint' || key.value !== PREFIX) {
      throw new SuitError(
        'element-unknown',
        key.start,
        'a dependency has metadata that nobody defined ([TD] 5.2.2)',
      );
    }
    prefix = readComponentIdentifier(value, limits);
  }
  return { prefix };
}

/**
 * What each component index stands for: the list of components and, right after it, dependencies that the list does
 * not name, as in the published examples ([TD] Appendix B, [FE] section 9). `offset` is where errors point to.
 */
export function targetsOf(
  components: readonly ComponentIdentifier[],
  dependencies: ReadonlyMap<number, Dependency>,
  limits: SuitLimits,
  offset: number,
): readonly Target[] {
  const targets: Target[] = components.map((identifier, index) => {
    const dependency = dependencies.get(index);
    return { identifier, dependency, scope: dependency?.prefix ?? [] };
  });
  for (const [index, dependency] of dependencies) {
    if (index < components.length) continue;
    if (index !== targets.length) {
      throw new SuitError(
        'component-index',
        offset,
        `dependency ${index}: indices beyond the ${components.length} listed components must follow without a gap`,
      );
    }
    targets.push({ identifier: dependency.prefix ?? [], dependency, scope: [] });
  }
  if (targets.length > limits.components) {
    const found = `${targets.length} components and dependencies`;
    throw new SuitError('limit', offset, `${found}; at most ${limits.components} are taken`);
  }
  return targets;
}
