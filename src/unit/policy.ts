/**
 * Which signatures a unit asks for before it believes a payload: one of several, all of them, or some number of them,
 * each by what its signer is. Pure; the unit judges by it, and sealing counts by it before a number is used.
 */

import { UNIT_LIMITS } from './limits.ts';

/** Algorithms that a policy may name, with their COSE ids (RFC 9864, RFC 8778). */
export const POLICY_ALGORITHMS = { ESP256: -9, Ed25519: -19, 'HSS-LMS': -46 } as const;
export type PolicyAlgorithm = keyof typeof POLICY_ALGORITHMS;

/** What one signer must be. What is left out is not asked for, but for the algorithm: then it is the profile's. */
export interface SignerDemand {
  /** Role in the signer's certificate (docs/deployment-profile.md). */
  readonly role?: string | undefined;
  readonly algorithm?: PolicyAlgorithm | undefined;
  /** Labels of the roots at one of which its path must end. */
  readonly anchors?: readonly string[] | undefined;
  /** What its certificate must name: a class of the unit itself, or the vendor. */
  readonly scope?: 'class' | 'vendor' | undefined;
}

/** Which of the demands must be met, each by a key of its own. */
export interface AuthenticationPolicy {
  readonly rule: 'any' | 'all' | 'at_least';
  /** With `at_least`: how many. */
  readonly count?: number | undefined;
  readonly roles: readonly SignerDemand[];
}

/** Most demands of one policy. */
export const MAXIMUM_DEMANDS = UNIT_LIMITS.demands.value;

/** A demand with everything filled in that the class decides. */
export interface ResolvedDemand {
  readonly role: string | undefined;
  readonly algorithm: number;
  readonly anchors: readonly string[] | undefined;
  /** One of these must be in the certificate; undefined where the class's scope rules suffice. */
  readonly scopes: readonly string[] | undefined;
  /** For people. */
  readonly text: string;
}

/** A policy as it is judged. */
export interface ResolvedPolicy {
  /** How many demands must be met. */
  readonly needed: number;
  readonly demands: readonly ResolvedDemand[];
  /** COSE ids of all algorithms that it asks for. */
  readonly algorithms: readonly number[];
  readonly text: string;
}

/** What a policy compares of a signer. */
export interface PolicySigner {
  /** SHA-256 of SubjectPublicKeyInfo, lower-case hexadecimal. One key counts once, whatever its certificates say. */
  readonly fingerprint: string;
  readonly role: string | undefined;
  readonly algorithm: number;
  /** Label of the root at which its path ends. */
  readonly anchor: string;
  /** URIs of its certificate. */
  readonly scopes: readonly string[];
}

/** Fills in what a class decides. `algorithm`: COSE id of the profile; scopes as `urn:uuid:`. */
export function resolvePolicy(
  { rule, count, roles }: AuthenticationPolicy,
  own: {
    readonly algorithm: number;
    readonly classScopes: readonly string[];
    readonly vendorScope: string;
  },
): ResolvedPolicy {
  const demands = roles.map((demand): ResolvedDemand => {
    const { role, algorithm, anchors, scope } = demand;
    return {
      role,
      algorithm: algorithm === undefined ? own.algorithm : POLICY_ALGORITHMS[algorithm],
      anchors,
      scopes: scope && (scope === 'class' ? own.classScopes : [own.vendorScope]),
      text: demandText(demand),
    };
  });
  const needed = rule === 'any' ? 1 : rule === 'all' ? demands.length : count!;
  const which = needed === demands.length ? 'all of' : `${needed} of`;
  return {
    needed,
    demands,
    algorithms: [...new Set(demands.map(({ algorithm }) => algorithm))],
    text: `${which}: ${demands.map(({ text }) => text).join('; ')}`,
  };
}

function demandText({ role, algorithm, anchors, scope }: SignerDemand): string {
  const parts = [
    role ?? 'any role',
    ...(algorithm ? [algorithm] : []),
    ...(anchors ? [`under ${anchors.join(' or ')}`] : []),
    ...(scope ? [`for the ${scope}`] : []),
  ];
  return parts.join(', ');
}

/** Whether a signer is what a demand asks for. */
export function suits(signer: PolicySigner, { role, algorithm, anchors, scopes }: ResolvedDemand): boolean {
  return (
    signer.algorithm === algorithm &&
    (role === undefined || signer.role === role) &&
    (anchors === undefined || anchors.includes(signer.anchor)) &&
    (scopes === undefined || signer.scopes.some((scope) => scopes.includes(scope.toLowerCase())))
  );
}

/** How far some signers come. */
export interface Standing {
  readonly satisfied: boolean;
  readonly met: number;
  /** Demands that these signers leave open, in the best way to share them out. */
  readonly open: readonly ResolvedDemand[];
}

/**
 * The most demands that the signers can meet, where each key meets one and each demand takes one (a maximum
 * bipartite matching, by augmenting paths; the order of signers or demands makes no difference to `met`).
 */
export function standingOf({ demands, needed }: ResolvedPolicy, signers: readonly PolicySigner[]): Standing {
  const keys = [...new Set(signers.map(({ fingerprint }) => fingerprint))];
  const fits = keys.map((key) => {
    const certified = signers.filter(({ fingerprint }) => fingerprint === key);
    return demands.map((demand) => certified.some((signer) => suits(signer, demand)));
  });
  const takenBy = new Map<number, number>();
  const place = (key: number, tried: Set<number>): boolean =>
    demands.some((_, demand) => {
      if (!fits[key]![demand] || tried.has(demand)) return false;
      tried.add(demand);
      const holder = takenBy.get(demand);
      if (holder !== undefined && !place(holder, tried)) return false;
      takenBy.set(demand, key);
      return true;
    });
  for (const key of keys.keys()) place(key, new Set());
  const met = takenBy.size;
  return { satisfied: met >= needed, met, open: demands.filter((_, i) => !takenBy.has(i)) };
}
