import type { Manifest, SectionName } from '../manifest.ts';
import type { ProcessorHost } from './host.ts';
import { Machine } from './machine.ts';
import { type Outcome, outcomeOf } from './outcome.ts';

/** The sequences of an update and of a start, in order ([M] section 8.4.6). */
export const UPDATE_PROCEDURE: readonly SectionName[] = ['payload-fetch', 'install', 'validate'];
export const INVOCATION_PROCEDURE: readonly SectionName[] = ['validate', 'load', 'invoke'];

/** The two halves of an update with dependencies ([TD] section 7), and the whole with its validation. */
export const STAGING_PROCEDURE: readonly SectionName[] = ['dependency-resolution', 'payload-fetch'];
export const INSTALLATION_PROCEDURE: readonly SectionName[] = ['candidate-verification', 'install'];
export const DEPENDENT_UPDATE_PROCEDURE: readonly SectionName[] = [
  ...STAGING_PROCEDURE,
  ...INSTALLATION_PROCEDURE,
  'validate',
];

/**
 * Runs sections of a manifest, the shared sequence before each ([M] sections 5.3.3, 6 and 8.4.6). Parameters and what
 * is known of dependencies begin empty and last through the sections of one call, which is one procedure. `'shared'`
 * runs the shared sequence alone. A section the manifest does not have does nothing. Never throws on a manifest; what
 * the host throws passes through.
 */
export function runSequences(
  manifest: Manifest,
  procedure: SectionName | 'shared' | readonly SectionName[],
  host: ProcessorHost,
): Outcome {
  const machine = new Machine(manifest, host);
  if (procedure === 'shared') return outcomeOf(machine.runShared());
  for (const name of typeof procedure === 'string' ? [procedure] : procedure) {
    const failure = machine.runShared() ?? machine.runSection(name);
    if (failure) return outcomeOf(failure);
  }
  return { ok: true };
}
