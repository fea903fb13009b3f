import type { ComponentIdentifier } from './components.ts';
import {
  command,
  indexed,
  type ManifestDescription,
  override,
  type SequenceDescription,
  setIndex,
} from './description.ts';
import { SHA_256 } from './digest.ts';
import type { SectionName } from './manifest.ts';

/** A manifest that another one depends on. */
export interface DependencyFacts {
  /** SHA-256 over the dependency's manifest with its byte string header: the digest in its wrapper, 32 bytes. */
  readonly digest: Uint8Array;
  /** Where its envelope is; the key of an integrated dependency ([TD] section 8.1.1). */
  readonly uri: string;
  /** What its envelope is called as a component, written as its prefix ([TD] Appendix B). */
  readonly identifier: ComponentIdentifier;
  /** The sections that it has: each must be processed in its turn ([TD] section 5.1). */
  readonly sections: readonly SectionName[];
}

/** Reporting policies as in the published examples ([TD] Appendix B). */
const integrity = command(7, 15);
const process = command(11, 0);
const fetch = command(21, 2);

/** Sections that every dependent has by the template: dependencies are fetched first, and validated. */
const ALWAYS: readonly SectionName[] = ['dependency-resolution', 'validate'];

/**
 * A description with dependencies added by the template of [TD] section 8.1: digests in the shared sequence, a fetch in
 * dependency-resolution, and in each section a check and the dependency's own section before anything else is done.
 * Digests are set with override-parameters ([M] section 7). Dependencies follow the listed components.
 */
export function withDependencies(
  description: ManifestDescription,
  dependencies: readonly DependencyFacts[],
): ManifestDescription {
  if (description.dependencies) throw new TypeError('the description has dependencies already');
  const first = description.components.length;
  const names = new Set([...ALWAYS, ...dependencies.flatMap(({ sections }) => sections)]);
  const sequences = new Map<SectionName, SequenceDescription>();
  for (const name of new Set([...names, ...description.sequences.keys()])) {
    const own = description.sequences.get(name) ?? [];
    const before = dependencies.flatMap((facts, i) => stepsFor(name, facts, first + i));
    sequences.set(name, [...before, ...indexed(own)]);
  }
  const digests = dependencies.flatMap(({ digest }, i) => [
    setIndex(first + i),
    override({ 3: { algorithm: SHA_256, bytes: digest } }),
  ]);
  return {
    ...description,
    dependencies: new Map(dependencies.map(({ identifier }, i) => [first + i, { prefix: identifier }])),
    shared: [...digests, ...indexed(description.shared)],
    sequences,
  };
}

function stepsFor(name: SectionName, { uri, sections }: DependencyFacts, index: number): SequenceDescription {
  if (name === 'dependency-resolution') {
    return [setIndex(index), override({ 21: uri }), fetch, integrity, process];
  }
  return ALWAYS.includes(name) || sections.includes(name) ? [setIndex(index), integrity, process] : [];
}
