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
import { prepareRecord } from '../prepared.ts';
import type { UnitView } from '../state.ts';
import { type Circumstances, conditionRow } from './condition-rows.ts';

/**
 * What a component is to this unit: the image that is to run, the place where a staged one waits, what is being fetched
 * and goes on into the free slot without being kept anywhere, or what runs now and is only read.
 */
export type Role = 'main' | 'staging' | PassingRole;
/** Components that no memory of their own stands for; a manifest lists those that it uses. */
type PassingRole = 'download' | 'precursor';

const IMAGE_MATCH = 3;
const ROLES: readonly Role[] = ['main', 'staging'];

/** The role of a component by its identifier; undefined where the unit has none of that name. */
export function roleOf(
  { unit }: Circumstances,
  { identifier }: Pick<TargetComponent, 'identifier'>,
): Role | undefined {
  const index = prepareRecord(unit.record).components.findIndex(
    (own) => own.length === identifier.length && own.every((segment, i) => equal(segment, identifier[i]!)),
  );
  const role = ROLES[index];
  return role ?? passingRoleOf(unit, identifier);
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
  imageMatch(component: TargetComponent, parameters: Parameters): Outcome;
  directive(code: number, component: TargetComponent, parameters: Parameters): Outcome;
}

/**
 * A host whose identity conditions are those of step 6, judged again because the shared sequence runs before every
 * section (draft-ietf-suit-manifest section 5.3.3). They were written down once and are not again.
 */
export function hostFor(circumstances: Circumstances, actions: Actions): ProcessorHost {
  return {
    condition(condition, component, parameters) {
      if (condition === IMAGE_MATCH) return actions.imageMatch(component, parameters);
      const code = conditionRow(condition).judge(parameters, circumstances);
      return code ? { ok: false, reason: code, detail: code } : DONE;
    },
    directive: (code, component, parameters) => actions.directive(code, component, parameters),
  };
}

/** An outcome that ends a section. */
export function failed(detail: string): Outcome {
  return { ok: false, reason: 'host', detail };
}

export const DONE: Outcome = { ok: true };
