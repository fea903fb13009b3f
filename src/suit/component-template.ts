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

/** A further component that a manifest brings itself. */
export interface ComponentFacts {
  readonly identifier: ComponentIdentifier;
  /** SHA-256 over the image, 32 bytes. */
  readonly digest: Uint8Array;
  readonly sizeBytes: number;
  readonly uri: string;
  /** Whether the manifest starts it, before what it starts already. */
  readonly started: boolean;
}

const imageMatches = command(3, 15);
const fetch = command(21, 2);
const invoke = command(23, 2);

/**
 * A description with further components behind its own, by the templates of [M] sections 7.2 and 7.3 for each: digest and
 * size in the shared sequence, a fetch in install, a comparison in validate. What is started comes first in invoke.
 */
export function withComponents(
  description: ManifestDescription,
  further: readonly ComponentFacts[],
): ManifestDescription {
  if (further.length === 0) return description;
  if (description.dependencies) throw new TypeError('components come before dependencies');
  const first = description.components.length;
  const each = (steps: (facts: ComponentFacts) => SequenceDescription): SequenceDescription =>
    further.flatMap((facts, i) => {
      const own = steps(facts);
      return own.length > 0 ? [setIndex(first + i), ...own] : [];
    });
  const more: Partial<Record<SectionName, SequenceDescription>> = {
    install: each(({ uri }) => [override({ 21: uri }), fetch, imageMatches]),
    validate: each(() => [imageMatches]),
  };
  const sequences = new Map<SectionName, SequenceDescription>();
  for (const [name, own] of description.sequences)
    sequences.set(name, [...indexed(own), ...(more[name] ?? [])]);
  for (const name of ['install', 'validate'] as const)
    if (!sequences.has(name)) sequences.set(name, more[name]!);
  const started = each((facts) => (facts.started ? [invoke] : []));
  if (started.length > 0) sequences.set('invoke', [...started, ...(sequences.get('invoke') ?? [])]);
  return {
    ...description,
    components: [...description.components, ...further.map(({ identifier }) => identifier)],
    shared: [
      ...each(({ digest, sizeBytes }) => [
        override({ 3: { algorithm: SHA_256, bytes: digest }, 14: sizeBytes }),
      ]),
      ...indexed(description.shared),
    ],
    sequences,
  };
}
