import type { ComponentIdentifier, Dependency } from '../components.ts';
import type { Manifest } from '../manifest.ts';
import type { Parameters } from '../parameters.ts';
import type { Outcome } from './outcome.ts';

/** A component as commands meet it. */
export interface TargetComponent {
  /** In the manifest whose command it is. */
  readonly index: number;
  /** With the prefixes of the dependencies that lead to it: one name for one component over all manifests. */
  readonly identifier: ComponentIdentifier;
  /** Where the component holds the envelope of another manifest ([TD] section 5.2.2). */
  readonly dependency: Dependency | undefined;
  /** What goes before the identifiers of the components that such a manifest lists. */
  readonly scope: ComponentIdentifier;
  /** Whose command it is: what access control looks at ([M] section 9). */
  readonly issuer: Issuer;
}

/** The manifest that a command comes from. */
export interface Issuer {
  readonly manifest: Manifest;
  /** The component indices that lead to it from the root manifest; empty for the root itself. */
  readonly path: readonly number[];
}

/** A dependency that has been authenticated and read, or why it was not. */
export type DependencyOutcome =
  | { readonly ok: true; readonly manifest: Manifest }
  | { readonly ok: false; readonly reason: string; readonly detail: string };

/**
 * What the machine works on. Each call concerns one component and its parameters; those that the command needs are
 * set. They are the machine's own and change as it runs on: copy what is kept. Conditions have no side effects ([M]
 * section 6.4). The policy is a hint for reports ([M] section 8.4.7).
 *
 * On a component that is a dependency, image-match compares the digest with the manifest in the envelope, not with the
 * component's bytes ([TD] section 5.2.2): `dependencyMatches`. Encryption info (19) is used up by write and copy.
 */
export interface ProcessorHost {
  condition(code: number, component: TargetComponent, parameters: Parameters, policy: number): Outcome;
  directive(code: number, component: TargetComponent, parameters: Parameters, policy: number): Outcome;
  /**
   * Dependency-integrity: authenticates the envelope in the component, compares its digest with parameter 3 and its
   * manifest with its digest, and reads it ([TD] section 5.6.4); `openDependency` does all but the first. Without this
   * method there are no dependencies.
   */
  dependency?(component: TargetComponent, parameters: Parameters): DependencyOutcome;
}
