import {
  ALL_EXTENSIONS,
  type Command,
  type CommandPlace,
  type Envelope,
  type Manifest,
  readManifest,
  type Sequence,
} from '../suit/index.ts';
import type { RefusalCode } from '../unit/index.ts';
import { NOTHING_MEASURED, type SuitRecord } from './report.ts';
import { sectionCode } from './tables.ts';

const IMAGE_MATCH = 3;
const FETCH = 21;
const COPY = 22;
const INVOKE = 23;

/** Where nothing of a manifest was at work yet: section 0, which no manifest has (docs/reports.md). */
export const NOWHERE: SuitRecord = {
  kind: 'record',
  manifestId: [],
  section: 0,
  offset: 0,
  component: 0,
  properties: NOTHING_MEASURED,
};

/** A command of a section, and the component it is about. */
interface FoundCommand {
  readonly command: Command;
  readonly component: number;
}

type Wanted = readonly [command: number, ...sections: string[]];
const FETCHED: Wanted = [FETCH, 'payload-fetch', 'install'];
const MATCHED: Wanted = [IMAGE_MATCH, 'payload-fetch', 'install'];
const COPIED: Wanted = [COPY, 'payload-fetch', 'install'];
const STARTED: Wanted = [INVOKE, 'invoke'];

/** Refusals that fall outside the sequences, at what a certain command stands for. */
const AT: Partial<Record<RefusalCode, Wanted>> = {
  'payload-missing': FETCHED,
  'flash-failed': FETCHED,
  'image-length-wrong': MATCHED,
  'image-digest-wrong': MATCHED,
  'precursor-wrong': MATCHED,
  'delta-window-too-large': COPIED,
  'delta-altered': FETCHED,
  'delta-malformed': COPIED,
  'start-not-described': STARTED,
  'stored-start-failed': STARTED,
  'stored-image-wrong': [IMAGE_MATCH, 'validate'],
};

/**
 * The manifest of an envelope, whatever extension of the base it uses: to find places in it, not to follow it. Offsets in
 * it count from the start of the envelope, as those of a decision do. Throws `SuitError`.
 */
export function readManifestOf({ manifest, manifestStart: base, severed }: Envelope): Manifest {
  return readManifest(manifest, { base, severed, extensions: ALL_EXTENSIONS });
}

/** Where a refusal fell: at the command that ended a sequence, or at the one that it stands for. */
export function placeOf(
  refusal: RefusalCode,
  manifest: Manifest | undefined,
  failedAt?: CommandPlace,
): SuitRecord {
  if (!manifest) return NOWHERE;
  if (failedAt) return placeOfCommand(manifest, failedAt);
  const wanted = AT[refusal];
  return wanted ? firstPlace(manifest, wanted) : NOWHERE;
}

/** Where a manifest invokes its image. */
export function invokePlace(manifest: Manifest | undefined): SuitRecord {
  return manifest ? firstPlace(manifest, STARTED) : NOWHERE;
}

/** Where a manifest fetches its image. */
export function fetchPlace(manifest: Manifest | undefined): SuitRecord {
  return manifest ? firstPlace(manifest, FETCHED) : NOWHERE;
}

function placeOfCommand(
  manifest: Manifest,
  { section, offset, component, dependency }: CommandPlace,
): SuitRecord {
  // In a dependency: its bytes are elsewhere, so the section as a whole.
  if (dependency) return { ...NOWHERE, manifestId: dependency, section: sectionCode(section), component };
  const sequence = sequenceOf(manifest, section);
  if (!sequence) return NOWHERE;
  return { ...NOWHERE, section: sectionCode(section), offset: offset - sequence.start, component };
}

function firstPlace(manifest: Manifest, [code, ...sections]: Wanted): SuitRecord {
  for (const section of sections) {
    const sequence = sequenceOf(manifest, section);
    const found = sequence && [...commandsIn(sequence)].find(({ command }) => command.row.code === code);
    if (!found) continue;
    const offset = found.command.offset - sequence.start;
    return { ...NOWHERE, section: sectionCode(section), offset, component: found.component };
  }
  return NOWHERE;
}

/** The sequence of a section, where the manifest has it and it was not severed away. */
export function sequenceOf(manifest: Manifest, section: string): Sequence | undefined {
  if (section === 'shared') return manifest.shared;
  for (const [name, part] of manifest.sequences) {
    if (name === section) return 'value' in part ? part.value : undefined;
  }
  return undefined;
}

/** Every command of a sequence and of the sequences in it, in the order of the bytes. */
export function* commandsIn(sequence: Sequence, component = 0): Generator<FoundCommand> {
  let current = component;
  for (const command of sequence.commands) {
    const { argument } = command;
    if (argument.type === 'index') current = firstOf(argument.selection);
    yield { command, component: current };
    if (argument.type === 'branches') for (const each of argument.branches) yield* commandsIn(each, current);
    if (argument.type === 'sequence') yield* commandsIn(argument.sequence, current);
  }
}

function firstOf(selection: number | true | readonly number[]): number {
  if (typeof selection === 'number') return selection;
  return selection === true ? 0 : (selection[0] ?? 0);
}
