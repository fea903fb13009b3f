/**
 * Certificate policies along a path (RFC 5280 section 6.1.2 to 6.1.5), kept as the graph of RFC 9618: one node per
 * policy and certificate, so that its size stays the product of both.
 */
import type { Certificate } from './certificate.ts';
import { OID } from './oids.ts';

/** What the user of a path asks of its policies (RFC 5280 section 6.1.1 (c) and (e) to (g)). */
export interface PolicyDemands {
  /** Policies that are acceptable; anyPolicy for all. Default: anyPolicy. */
  readonly initialPolicySet?: readonly string[];
  readonly explicitPolicy?: boolean;
  readonly inhibitMapping?: boolean;
  readonly inhibitAnyPolicy?: boolean;
}

interface PolicyNode {
  readonly policy: string;
  expected: ReadonlySet<string>;
  readonly parents: readonly PolicyNode[];
}

type Level = ReadonlyMap<string, PolicyNode>;

/** Section 6.1.2 (a): anyPolicy, which nothing may map, so that every path can begin with the same one. */
const START: Level = new Map([[OID.anyPolicy, nodeOf(OID.anyPolicy, [])]]);

/** Follows the policies of a path from the anchor down. `judge` each certificate in turn, `prepare` between them. */
export class PolicyState {
  readonly #accepted: readonly string[];
  /** The newest level of the graph; `undefined`: the graph is empty. Parents lead to the older levels. */
  #level: Level | undefined;
  #explicitPolicy: number;
  #policyMapping: number;
  #inhibitAnyPolicy: number;

  constructor(pathLength: number, demands: PolicyDemands) {
    const limit = (set: boolean | undefined) => (set ? 0 : pathLength + 1);
    this.#accepted = demands.initialPolicySet ?? [OID.anyPolicy];
    this.#level = START;
    this.#explicitPolicy = limit(demands.explicitPolicy);
    this.#policyMapping = limit(demands.inhibitMapping);
    this.#inhibitAnyPolicy = limit(demands.inhibitAnyPolicy);
  }

  /** Section 6.1.3 (d) to (f). False: no policy holds where one must. */
  judge(certificate: Certificate, mayExpandAny: boolean): boolean {
    const policies = certificate.certificatePolicies;
    const any = this.#inhibitAnyPolicy > 0 || mayExpandAny;
    this.#level = this.#level && policies && nextLevel(this.#level, policies, any);
    return this.#explicitPolicy > 0 || this.#level !== undefined;
  }

  /** Section 6.1.4 (a), (b), (h) to (j). False: anyPolicy is mapped. */
  prepare(certificate: Certificate, selfIssued: boolean): boolean {
    const { policyMappings = [], policyConstraints, inhibitAnyPolicy } = certificate;
    const mapsAny = policyMappings.some(({ issuerPolicy, subjectPolicy }) =>
      [issuerPolicy, subjectPolicy].includes(OID.anyPolicy),
    );
    if (mapsAny) return false;
    this.#map(policyMappings);
    if (!selfIssued) this.#countDown();
    this.#explicitPolicy = Math.min(
      this.#explicitPolicy,
      policyConstraints?.requireExplicitPolicy ?? Infinity,
    );
    this.#policyMapping = Math.min(this.#policyMapping, policyConstraints?.inhibitPolicyMapping ?? Infinity);
    this.#inhibitAnyPolicy = Math.min(this.#inhibitAnyPolicy, inhibitAnyPolicy ?? Infinity);
    return true;
  }

  /** Section 6.1.5 (a), (b), (g), for the last certificate. False: no acceptable policy holds where one must. */
  finish(certificate: Certificate): boolean {
    const required = certificate.policyConstraints?.requireExplicitPolicy === 0;
    const explicit = required ? 0 : Math.max(0, this.#explicitPolicy - 1);
    return explicit > 0 || this.#acceptedHold();
  }

  #countDown(): void {
    this.#explicitPolicy = Math.max(0, this.#explicitPolicy - 1);
    this.#policyMapping = Math.max(0, this.#policyMapping - 1);
    this.#inhibitAnyPolicy = Math.max(0, this.#inhibitAnyPolicy - 1);
  }

  #map(mappings: readonly { issuerPolicy: string; subjectPolicy: string }[]): void {
    if (!this.#level || mappings.length === 0) return;
    const level = new Map(this.#level);
    const any = level.get(OID.anyPolicy);
    for (const [issuerPolicy, subjects] of groupByIssuer(mappings)) {
      const node = level.get(issuerPolicy);
      if (this.#policyMapping === 0) level.delete(issuerPolicy);
      else if (node) node.expected = subjects;
      else if (any)
        level.set(issuerPolicy, { policy: issuerPolicy, expected: subjects, parents: any.parents });
    }
    this.#level = level.size > 0 ? level : undefined;
  }

  // The policies that the authorities vouch for, in the anchor's terms: those first named under an anyPolicy.
  #acceptedHold(): boolean {
    if (!this.#level) return false;
    if (this.#accepted.includes(OID.anyPolicy)) return true;
    const seen = new Set<PolicyNode>();
    const found = new Set<string>();
    const visit = (node: PolicyNode): void => {
      if (seen.has(node)) return;
      seen.add(node);
      if (node.parents.some(({ policy }) => policy === OID.anyPolicy)) found.add(node.policy);
      node.parents.forEach(visit);
    };
    for (const node of this.#level.values()) visit(node);
    return this.#level.has(OID.anyPolicy) || this.#accepted.some((policy) => found.has(policy));
  }
}

function nodeOf(policy: string, parents: readonly PolicyNode[]): PolicyNode {
  return { policy, expected: new Set([policy]), parents };
}

// Section 6.1.3 (d): a node for each policy that a node above expects, or that an anyPolicy above covers.
function nextLevel(above: Level, policies: readonly string[], mayExpandAny: boolean): Level | undefined {
  const expecting = parentsByExpected(above);
  const any = above.get(OID.anyPolicy);
  const level = new Map<string, PolicyNode>();
  for (const policy of policies) {
    if (policy === OID.anyPolicy) continue;
    const parents = expecting.get(policy) ?? (any ? [any] : undefined);
    if (parents) level.set(policy, nodeOf(policy, parents));
  }
  if (policies.includes(OID.anyPolicy) && mayExpandAny) {
    for (const [policy, parents] of expecting)
      if (!level.has(policy)) level.set(policy, nodeOf(policy, parents));
  }
  return level.size > 0 ? level : undefined;
}

function parentsByExpected(level: Level): Map<string, PolicyNode[]> {
  const parents = new Map<string, PolicyNode[]>();
  for (const node of level.values()) {
    for (const policy of node.expected) {
      const known = parents.get(policy);
      if (known) known.push(node);
      else parents.set(policy, [node]);
    }
  }
  return parents;
}

function groupByIssuer(
  mappings: readonly { issuerPolicy: string; subjectPolicy: string }[],
): Map<string, Set<string>> {
  const groups = new Map<string, Set<string>>();
  for (const { issuerPolicy, subjectPolicy } of mappings) {
    groups.set(issuerPolicy, (groups.get(issuerPolicy) ?? new Set<string>()).add(subjectPolicy));
  }
  return groups;
}
