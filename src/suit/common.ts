import type { CborItem } from '../cbor/index.ts';
import {
  type ComponentIdentifier,
  type Dependency,
  readComponents,
  readDependencies,
  type Target,
  targetsOf,
} from './components.ts';
import { collect } from './elements.ts';
import { SuitError } from './errors.ts';
import type { SuitLimits } from './limits.ts';
import { asBytes, asMap, decodeAt } from './read.ts';
import { readElementSequence, type Sequence, type SequenceContext, sequenceContext } from './sequence.ts';
import { COMMON_KEYS, type Extensions } from './tables/index.ts';

/** SUIT_Common ([M] section 8.4.5, [TD] section 5.2.2), and what the manifest's sequences are read against. */
export interface Common {
  readonly components: readonly ComponentIdentifier[];
  readonly dependencies: ReadonlyMap<number, Dependency>;
  readonly targets: readonly Target[];
  readonly shared: Sequence | undefined;
  readonly context: SequenceContext;
}

const DEPENDENCIES = 1;
const COMPONENTS = 2;
const SHARED = 4;

/** Reads common. Components or dependencies are demanded: without either there is nothing to act on. */
export function readCommon(item: CborItem, limits: SuitLimits, extensions: Extensions): Common {
  const wrapped = asBytes(item, 'common');
  const map = asMap(decodeAt(wrapped.value, wrapped.contentStart), 'common');
  const elements = collect(map, COMMON_KEYS, 'common', extensions);
  const list = elements.get(COMPONENTS);
  const named = elements.get(DEPENDENCIES);
  if (!list && !named) {
    throw new SuitError('components', map.start, 'the manifest lists no components ([M] section 8.4.5)');
  }
  const components = list ? readComponents(list, limits) : [];
  const dependencies = named ? readDependencies(named, limits) : NONE;
  const targets = targetsOf(components, dependencies, limits, map.start);
  const context = sequenceContext(targets.length, dependencies.size > 0, limits, extensions);
  const shared = elements.get(SHARED);
  return {
    components,
    dependencies,
    targets,
    shared: shared && readShared(shared, context),
    context,
  };
}

const NONE: ReadonlyMap<number, Dependency> = new Map();

function readShared(item: CborItem, context: SequenceContext): Sequence {
  const bytes = asBytes(item, 'the shared sequence');
  return readElementSequence(bytes.value, bytes.contentStart, { ...context, inShared: true });
}
