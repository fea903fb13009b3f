import { COMMANDS, type Manifest, type Outcome, type Parameters, runSequences } from '../../suit/index.ts';
import type { Trace } from '../trace.ts';
import type { Circumstances } from './condition-rows.ts';
import type { Family } from './family.ts';
import { type Actions, DONE, failed, hostFor, type Role, roleOf } from './host.ts';

const INVOKE = 23;

/** What a start would do with the manifest, followed on paper. */
export interface StartOnPaper {
  /** Parameters of each comparison of an image, by the role of its component. */
  readonly named: ReadonlyMap<Role | undefined, readonly Parameters[]>;
  /** What was invoked, in order. */
  readonly invoked: readonly (Role | undefined)[];
  readonly loads: boolean;
  readonly outcome: Outcome;
}

/** Validate and invoke in one run, as a start has them: parameters last from the one to the other. */
export function followStart(manifest: Manifest, circumstances: Circumstances, family?: Family): StartOnPaper {
  const named = new Map<Role | undefined, Parameters[]>();
  const invoked: (Role | undefined)[] = [];
  const actions: Actions = {
    imageMatch(component, parameters) {
      const role = roleOf(circumstances, component);
      const copy = new Map(parameters) as Parameters;
      const earlier = named.get(role);
      if (earlier) earlier.push(copy);
      else named.set(role, [copy]);
      return DONE;
    },
    directive(code, component) {
      if (code !== INVOKE) return failed(`${COMMANDS.get(code)?.name} at start-up`);
      invoked.push(roleOf(circumstances, component));
      return DONE;
    },
  };
  const outcome = runSequences(manifest, ['validate', 'invoke'], hostFor(circumstances, actions, family));
  const all = [manifest, ...(family?.members ?? []).map((member) => member.manifest)];
  return { named, invoked, loads: all.some(({ sequences }) => sequences.has('load')), outcome };
}

/**
 * A unit that installs what its own start would pass over has lost a slot for nothing. Components that the unit starts
 * are started before its own image, which comes last.
 */
export function judgeStart(
  trace: Trace,
  { outcome, invoked, loads }: StartOnPaper,
  { unit }: Circumstances,
): void {
  const started = (unit.record.memory.components ?? []).filter((each) => each.started);
  const wanted: Role[] = [...started.map(({ name }) => name), 'main'];
  const whole = invoked.length === wanted.length && wanted.every((role) => invoked.includes(role));
  trace.require(outcome.ok && whole && invoked.at(-1) === 'main' && !loads, 'start-not-described', {
    what: 'start of the image',
    expected: () =>
      started.length === 0
        ? 'an invoke sequence that invokes the component that runs, and nothing to load'
        : `invoke sequences that invoke ${wanted.join(', ')}, the last one last, and nothing to load`,
    found: startText(outcome, invoked, loads),
    source: 'draft-ietf-suit-manifest 5.3.3, 7.2',
  });
}

function startText(outcome: Outcome, invoked: StartOnPaper['invoked'], loads: boolean): string {
  if (!outcome.ok) return outcome.detail;
  if (invoked.length === 0) return 'never invoked';
  const roles = invoked.map((role) => role ?? 'a component that the unit does not have').join(', ');
  return `${invoked.length === 1 && roles === 'main' ? 'invoked' : `invoked: ${roles}`}${loads ? ', after a load sequence' : ''}`;
}
