import { fromUtf8 } from '../bytes/index.ts';
import type { ComponentIdentifier } from './components.ts';
import { command, type ManifestDescription, override } from './description.ts';
import { SHA_256 } from './digest.ts';

/** What a unit holds about whom to believe: signers denied, their lowest generation, roots retired. */
export const POLICY_COMPONENT: ComponentIdentifier = [fromUtf8('policy')];

/** The facts of a trust update from which its manifest follows. */
export interface PolicyUpdateFacts {
  /** Number of the trust update: a count of its own, not that of releases. */
  readonly sequenceNumber: bigint;
  readonly vendorId: Uint8Array;
  readonly classId: Uint8Array;
  /** The policy, encoded, and its SHA-256. */
  readonly content: Uint8Array;
  readonly digest: Uint8Array;
}

const REPORT_ALL = 15;
const RECORD_FAILURE = 2;

/**
 * The manifest of a trust update: compatibility check ([M] section 7.1), then the policy, which stands in the manifest
 * itself, is written to the policy component (sections 8.4.8.9 and 8.4.10.6) and compared.
 */
export function describePolicyUpdate(facts: PolicyUpdateFacts): ManifestDescription {
  const imageMatches = command(3, REPORT_ALL);
  const image = { 3: { algorithm: SHA_256, bytes: facts.digest }, 14: facts.content.length };
  return {
    sequenceNumber: facts.sequenceNumber,
    components: [POLICY_COMPONENT],
    shared: [
      override({ 1: facts.vendorId, 2: facts.classId, ...image }),
      command(1, REPORT_ALL),
      command(2, REPORT_ALL),
    ],
    sequences: new Map([
      ['install', [override({ 18: facts.content }), command(18, RECORD_FAILURE), imageMatches]],
      ['validate', [imageMatches]],
    ]),
    sever: [],
  };
}
