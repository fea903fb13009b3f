import { equal } from '../../bytes/index.ts';
import {
  type ComponentIdentifier,
  DOWNLOAD_COMPONENT,
  type Outcome,
  type Parameters,
  PRECURSOR_COMPONENT,
  type ProcessorHost,
  type TargetComponent,
} from '../../suit/index.ts';
import { prepareRecord, type Role as UnitRole } from '../prepared.ts';
import type { UnitView } from '../state.ts';
import { type Circumstances, conditionRow } from './condition-rows.ts';
import type { Family } from './family.ts';

/**
 * What a component is to this unit: one that it has, what is being fetched and goes on into the free slot without being
 * kept anywhere, or what runs now and is only read.
 */
export type Role = UnitRole | PassingRole;
/** Components that no memory of their own stands for; a manifest lists those that it uses. */
type PassingRole = 'download' | 'precursor';

const IMAGE_MATCH = 3;

/** The role of a component by its identifier; undefined where the unit has none of that name. */
export function roleOf(
  { unit }: Circumstances,
  { identifier }: Pick<TargetComponent, 'identifier'>,
): Role | undefined {
  for (const { role, identifier: own } of prepareRecord(unit.record).places) {
    if (own.length === identifier.length && own.every((segment, i) => equal(segment, identifier[i]!)))
      return role;
  }
  return passingRoleOf(unit, identifier);
}

/** What passes through: ciphertext where there is no staging area, and deltas where the unit takes them. */
export function passingRoleOf(
  { record }: UnitView,
  identifier: ComponentIdentifier,
): PassingRole | undefined {
  const deltas = record.memory.delta_window !== undefined;
  if (deltas && isPrecursor(identifier)) return 'precursor';
  const passes = deltas || record.memory.shape !== 'staged';
  return passes && isNamed(identifier, DOWNLOAD_COMPONENT) ? 'download' : undefined;
}

/** Whether a component is what runs, for whoever takes deltas. */
export function isPrecursor(identifier: ComponentIdentifier): boolean {
  return isNamed(identifier, PRECURSOR_COMPONENT);
}

function isNamed(identifier: ComponentIdentifier, [own]: ComponentIdentifier): boolean {
  return identifier.length === 1 && equal(identifier[0]!, own!);
}

/** What a host does with commands that are not about identity. */
export interface Actions {
  /** Whether envelopes of dependencies may be fetched. */
  readonly fetches?: boolean;
  imageMatch(component: TargetComponent, parameters: Parameters): Outcome;
  directive(code: number, component: TargetComponent, parameters: Parameters): Outcome;
}

/**
 * A host whose identity conditions are those of step 6, judged again because the shared sequence runs before every
 * section (draft-ietf-suit-manifest section 5.3.3). They were written down once and are not again. With a family it
 * takes dependencies.
 */
export function hostFor(circumstances: Circumstances, actions: Actions, family?: Family): ProcessorHost {
  const host: ProcessorHost = {
    condition(condition, component, parameters) {
      if (condition === IMAGE_MATCH) {
        if (component.dependency && family) return family.imageMatch(component, parameters);
        return actions.imageMatch(component, parameters);
      }
      const own = family?.circumstancesOf(component.issuer.manifest) ?? circumstances;
      const code = conditionRow(condition).judge(parameters, own);
      return code ? { ok: false, reason: code, detail: code } : DONE;
    },
    directive(code, component, parameters) {
      if (component.dependency && family && actions.fetches)
        return family.directive(code, component, parameters);
      return actions.directive(code, component, parameters);
    },
  };
  if (!family) return host;
  return { ...host, dependency: (component, parameters) => family.dependency(component, parameters) };
}

/** An outcome that ends a section. */
export function failed(detail: string): Outcome {
  return { ok: false, reason: 'host', detail };
}

export const DONE: Outcome = { ok: true };
