import { equal } from '../../bytes/index.ts';
import {
  type ComponentIdentifier,
  DOWNLOAD_COMPONENT,
  type Outcome,
  type Parameters,
  type ProcessorHost,
  type TargetComponent,
} from '../../suit/index.ts';
import { prepareRecord } from '../prepared.ts';
import type { UnitView } from '../state.ts';
import { type Circumstances, conditionRow } from './condition-rows.ts';

/**
 * What a component is to this unit: the image that runs, the place where a staged one waits, or what is being fetched and
 * goes on into the free slot without being kept anywhere.
 */
export type Role = 'main' | 'staging' | 'download';

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
  return role ?? (isDownload(unit, identifier) ? 'download' : undefined);
}

/** Where there is no staging area, an encrypted image is decrypted on its way into the free slot. */
export function isDownload({ record }: UnitView, identifier: ComponentIdentifier): boolean {
  const [own] = DOWNLOAD_COMPONENT;
  return record.memory.shape !== 'staged' && identifier.length === 1 && equal(identifier[0]!, own!);
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
