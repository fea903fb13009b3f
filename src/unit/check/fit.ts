import { equal, toHex } from '../../bytes/index.ts';
import { COMMANDS, type Manifest, type Outcome, type Parameters, runSequences } from '../../suit/index.ts';
import { prepareRecord } from '../prepared.ts';
import type { Trace } from '../trace.ts';
import type { Circumstances } from './condition-rows.ts';
import { DONE, failed, hostFor, passingRoleOf, roleOf } from './host.ts';

/** An image as a manifest names it: SHA-256, 32 bytes, and size in bytes. */
export interface NamedImage {
  readonly digest: Uint8Array;
  readonly size: number;
}

const INVOKE = 23;

/**
 * Step 7: the components are those of the unit; the validate sequence, which is what every start will run, names
 * one image for the one that runs, with digest and size; it fits the slot; the manifest leads to a start; and the
 * envelope fits the area that keeps it. `kept`: bytes of the envelope as it is kept for start-up.
 * draft-ietf-suit-manifest sections 6.2, 7.2, 8.4.5 and 8.4.8.
 */
export function judgeFit(
  trace: Trace,
  manifest: Manifest,
  circumstances: Circumstances,
  kept: number,
): NamedImage {
  trace.enter('fit');
  judgeComponents(trace, manifest, circumstances);
  const start = followStart(manifest, circumstances);
  const image = judgeNamedImage(trace, start);
  judgeSize(trace, image, circumstances);
  judgeStart(trace, manifest, start);
  judgeEnvelopeArea(trace, circumstances, kept);
  return image;
}

function judgeComponents(trace: Trace, { components }: Manifest, circumstances: Circumstances): void {
  const source = 'draft-ietf-suit-manifest 6.2, 8.4.5';
  const passingRoles = components.map((each) => passingRoleOf(circumstances.unit, each));
  const passing = components.filter((_, i) => passingRoles[i] && passingRoles.indexOf(passingRoles[i]) === i);
  const own = [...prepareRecord(circumstances.unit.record).components, ...passing];
  trace.require(components.length === own.length, 'component-count-wrong', {
    what: 'number of components',
    expected: own.length,
    found: components.length,
    source,
  });
  const roles = components.map((identifier) => roleOf(circumstances, { identifier }));
  const known = roles.every((role) => role !== undefined) && new Set(roles).size === roles.length;
  trace.require(known, 'component-unknown', {
    what: 'components',
    expected: () => own.map(identifierText).join(', '),
    found: () => components.map(identifierText).join(', '),
    source,
  });
}

function identifierText(identifier: readonly Uint8Array[]): string {
  return `[${identifier.map((segment) => `h'${toHex(segment)}'`).join(', ')}]`;
}

/** What a start would do with the manifest, followed on paper. */
interface StartOnPaper {
  /** Parameters of each comparison of the image that runs. */
  readonly named: readonly Parameters[];
  /** Whether the last thing done was to invoke it. */
  readonly invoked: boolean;
  readonly outcome: Outcome;
}

/** Validate and invoke in one run, as a start has them: parameters last from the one to the other. */
function followStart(manifest: Manifest, circumstances: Circumstances): StartOnPaper {
  const named: Parameters[] = [];
  let invoked = false;
  const outcome = runSequences(
    manifest,
    ['validate', 'invoke'],
    hostFor(circumstances, {
      imageMatch(component, parameters) {
        if (roleOf(circumstances, component) === 'main') named.push(new Map(parameters) as Parameters);
        return DONE;
      },
      directive(code, component) {
        invoked = code === INVOKE && roleOf(circumstances, component) === 'main';
        return invoked ? DONE : failed(`${COMMANDS.get(code)?.name} at start-up`);
      },
    }),
  );
  return { named, invoked, outcome };
}

function judgeNamedImage(trace: Trace, { named, outcome }: StartOnPaper): NamedImage {
  const digest = named[0]?.get(3)?.bytes;
  const single = digest !== undefined && named.every((each) => equal(each.get(3)!.bytes, digest));
  const found = single ? digest : `${named.length} digests`;
  const question = {
    what: 'digest that the validate sequence compares the image with',
    expected: 'one',
    found,
    source: 'draft-ietf-suit-manifest 7.2, 8.4.8.6',
  };
  if (!outcome.ok && outcome.at?.section !== 'invoke') {
    trace.refuse('image-not-named', question, outcome.detail);
  }
  if (!single) trace.refuse('image-not-named', question);
  trace.holds(question);
  const size = named[0]!.get(14);
  if (size === undefined) {
    const where = { what: 'size of the image', expected: 'a size in bytes', found: 'none' };
    trace.refuse('image-size-missing', { ...where, source: 'draft-ietf-suit-manifest 8.5; RFC 9124 4.3.15' });
  }
  trace.facts.images = [{ digest, size }];
  return { digest, size };
}

/** A staged image passes through both slots. */
function judgeSize(trace: Trace, { size }: NamedImage, { unit, slot }: Circumstances): void {
  const { shape, slots } = unit.record.memory;
  const room = shape === 'staged' ? Math.min(...slots.map((each) => each.size)) : slots[slot]!.size;
  const source = 'draft-ietf-suit-manifest 8.4.8.7; RFC 9124 4.3.6';
  const what = 'size of the image in bytes';
  trace.require(size > 0, 'image-empty', { what, expected: 'more than 0', found: size, source });
  trace.require(size <= room, 'image-too-large', {
    what,
    expected: () => `at most ${room}, the size of slot ${slots[slot]!.name}`,
    found: size,
    source,
  });
}

/** A unit that installs what its own start would pass over has lost a slot for nothing. */
function judgeStart(trace: Trace, { sequences }: Manifest, { outcome, invoked }: StartOnPaper): void {
  trace.require(outcome.ok && invoked && !sequences.has('load'), 'start-not-described', {
    what: 'start of the image',
    expected: 'an invoke sequence that invokes the component that runs, and nothing to load',
    found: startText(outcome, invoked, sequences.has('load')),
    source: 'draft-ietf-suit-manifest 5.3.3, 7.2',
  });
}

function startText(outcome: Outcome, invoked: boolean, loads: boolean): string {
  if (!outcome.ok) return outcome.detail;
  if (!invoked) return 'never invoked';
  return loads ? 'invoked, after a load sequence' : 'invoked';
}

function judgeEnvelopeArea(trace: Trace, { unit }: Circumstances, kept: number): void {
  const { envelopes, slots } = unit.record.memory;
  const room = Math.floor(envelopes.size / slots.length);
  trace.require(kept <= room, 'envelope-area-too-small', {
    what: 'envelope as it is kept for start-up, in bytes',
    expected: () => `at most ${room}`,
    found: kept,
    source: 'draft-ietf-suit-manifest 4.2; docs/deployment-profile.md',
  });
}
