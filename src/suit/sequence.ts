import type { CborItem } from '../cbor/index.ts';
import { SuitError } from './errors.ts';
import type { SuitLimits } from './limits.ts';
import { readCopies, readParametersByComponent } from './parameter-lists.ts';
import { type ParameterContext, type Parameters, readParameters, requireComponent } from './parameters.ts';
import { asArray, asBytes, asInteger, asUint, decodeAt } from './read.ts';
import {
  type ArgumentType,
  COMMANDS,
  type CommandRow,
  type Extensions,
  HIGHEST_CUSTOM_CODE,
  runsWith,
} from './tables/index.ts';

/** Which components commands apply to: one, several, or all ([M] section 6.5). */
export type IndexSelection = number | readonly number[] | true;

/** What follows a command code. */
export type CommandArgument =
  /** Bits 0 to 3: record on success, record on failure, system information likewise ([M] section 8.4.7). */
  | { readonly type: 'policy'; readonly policy: number }
  | { readonly type: 'index'; readonly selection: IndexSelection }
  | { readonly type: 'parameters'; readonly values: Parameters }
  | { readonly type: 'parameters-by-component'; readonly values: ReadonlyMap<number, Parameters> }
  | { readonly type: 'parameter-copies'; readonly codes: ReadonlyMap<number, readonly number[]> }
  | { readonly type: 'branches'; readonly branches: readonly Sequence[]; readonly mayFail: boolean }
  | { readonly type: 'sequence'; readonly sequence: Sequence };

/** One command of a sequence, known and of the right shape. */
export interface Command {
  readonly row: CommandRow;
  readonly argument: CommandArgument;
  /** Offset of the command code; less the sequence's `start` it is the offset that reports use. */
  readonly offset: number;
}

/** A command sequence ([M] section 8.4.6). */
export interface Sequence {
  readonly commands: readonly Command[];
  /** Offset of the sequence's array. */
  readonly start: number;
}

/** What a sequence is read against. `budget` counts down over all sequences of one manifest. */
export interface SequenceContext extends ParameterContext {
  readonly extensions: Extensions;
  readonly hasDependencies: boolean;
  readonly budget: { commands: number };
  readonly depth: number;
  readonly limits: SuitLimits;
}

/** The context of a manifest's sequences before any has been read. */
export function sequenceContext(
  componentCount: number,
  hasDependencies: boolean,
  limits: SuitLimits,
  extensions: Extensions,
): SequenceContext {
  const budget = { commands: limits.commands };
  return { componentCount, hasDependencies, inShared: false, extensions, budget, depth: 0, limits };
}

/**
 * Reads an element's command sequence and every sequence inside it, so that nothing unknown is left to meet while
 * commands run ([M] section 6.1). Throws `SuitError`.
 */
export function readElementSequence(content: Uint8Array, base: number, context: SequenceContext): Sequence {
  const sequence = readSequence(content, base, context);
  if (context.componentCount > 1 && sequence.commands[0]?.argument.type !== 'index') {
    throw new SuitError(
      'component-index-missing',
      sequence.start,
      'with more than one component each sequence must begin with set-component-index ([M] section 6.2)',
    );
  }
  return sequence;
}

function readSequence(
  content: Uint8Array,
  base: number,
  context: SequenceContext,
  mayBeEmpty = false,
): Sequence {
  if (context.depth > context.limits.sequenceDepth) {
    throw new SuitError('limit', base, `sequences nested deeper than ${context.limits.sequenceDepth}`);
  }
  const items = asArray(decodeAt(content, base), 'a command sequence', 'sequence');
  if ((items.length === 0 && !mayBeEmpty) || items.length % 2 !== 0) {
    throw new SuitError(
      'sequence',
      base,
      `a command sequence is a list of pairs, one at least; this one has ${items.length} entries ([M] section 8.4.6)`,
    );
  }
  context.budget.commands -= items.length / 2;
  if (context.budget.commands < 0) {
    throw new SuitError('limit', base, `more than ${context.limits.commands} commands in one manifest`);
  }
  const commands = new Array<Command>(items.length / 2);
  for (let i = 0; i < commands.length; i++) {
    commands[i] = readCommand(items[2 * i]!, items[2 * i + 1]!, context);
  }
  return { commands, start: base };
}

function readCommand(codeItem: CborItem, argument: CborItem, context: SequenceContext): Command {
  const row = requireRow(codeItem, context);
  return { row, argument: READERS[row.argument](argument, row, context), offset: codeItem.start };
}

function requireRow(item: CborItem, context: SequenceContext): CommandRow {
  const code = asInteger(item, 'a command code', 'command-unknown');
  const row = COMMANDS.get(code);
  const custom = code <= HIGHEST_CUSTOM_CODE;
  if (context.inShared && (custom || row?.inShared === false)) {
    const what = row ? row.name : `custom command ${code}`;
    throw new SuitError(
      'shared-sequence',
      item.start,
      `${what} in the shared sequence, which takes conditions and flow control only ([M] section 6.2, Appendix A)`,
    );
  }
  if (row && runsWith(row, context.extensions)) return row;
  if (row) {
    throw new SuitError(
      'command-unsupported',
      item.start,
      `${row.name} (${code}, ${row.source}) is not supported here; the manifest cannot be followed as meant`,
    );
  }
  const kind = custom ? 'custom command' : 'command';
  throw new SuitError('command-unknown', item.start, `${kind} ${code} is unknown ([M] section 6.1)`);
}

type Reader = (item: CborItem, row: CommandRow, context: SequenceContext) => CommandArgument;

const READERS: Readonly<Record<ArgumentType, Reader>> = {
  policy: readPolicy,
  index: readIndex,
  parameters: readSet,
  'parameters-by-component': (item, row, context) => ({
    type: 'parameters-by-component',
    values: readParametersByComponent(item, row.name, context),
  }),
  'parameter-copies': (item, row, context) => ({
    type: 'parameter-copies',
    codes: readCopies(item, row.name, context),
  }),
  branches: readBranches,
  sequence: (item, row, context) => ({ type: 'sequence', sequence: readInner(item, row, context) }),
};

const SET_PARAMETERS = 19;
const IMAGE_DIGEST = 3;

/**
 * A digest must be set with override-parameters ([M] section 7), yet [TD] section 8.1 sets that of a dependency with
 * set-parameters: that is taken from manifests with dependencies only. docs/processor-rules.md, rule 6.
 */
function readSet(item: CborItem, row: CommandRow, context: SequenceContext): CommandArgument {
  const values = readParameters(item, context);
  if (row.code !== SET_PARAMETERS || context.hasDependencies || !values.has(IMAGE_DIGEST)) {
    return { type: 'parameters', values };
  }
  throw new SuitError(
    'command-argument',
    item.start,
    'a digest set with set-parameters, in a manifest without dependencies: use override-parameters ([M] section 7)',
  );
}

const HIGHEST_POLICY = 15;

function readPolicy(item: CborItem, row: CommandRow): CommandArgument {
  const policy = asUint(item, `the reporting policy of ${row.name}`, 'command-argument');
  if (policy <= HIGHEST_POLICY) return { type: 'policy', policy };
  throw new SuitError(
    'command-argument',
    item.start,
    `reporting policy ${policy} of ${row.name}: four bits are defined, 0 to 15 ([M] section 8.4.7)`,
  );
}

function readIndex(item: CborItem, row: CommandRow, context: SequenceContext): CommandArgument {
  if (item.type === 'simple' && item.value === true) return { type: 'index', selection: true };
  if (item.type !== 'array') return { type: 'index', selection: readOneIndex(item, row, context) };
  if (item.items.length === 0) {
    throw new SuitError('command-argument', item.start, `${row.name} names no component ([M] Appendix A)`);
  }
  return { type: 'index', selection: item.items.map((each) => readOneIndex(each, row, context)) };
}

function readOneIndex(item: CborItem, row: CommandRow, context: SequenceContext): number {
  const index = asUint(item, `the argument of ${row.name}`, 'command-argument');
  requireComponent(index, context.componentCount, item.start);
  return index;
}

/**
 * Two wrapped sequences at least, and perhaps nil at the end ([M] Appendix A). Where dependencies are supported, one
 * and nil, and an empty last one, are taken too: so [TD] section 8.4 writes "or else nothing".
 */
function readBranches(item: CborItem, row: CommandRow, context: SequenceContext): CommandArgument {
  const list = asArray(item, `the argument of ${row.name}`, 'command-argument');
  const last = list.at(-1);
  const mayFail = last?.type === 'simple' && last.value === null;
  const wrapped = mayFail ? list.slice(0, -1) : list;
  const lenient = context.extensions.has('dependencies');
  if (wrapped.length < (lenient && mayFail ? 1 : 2)) {
    throw new SuitError(
      'command-argument',
      item.start,
      `${row.name} takes two sequences at least ([M] Appendix A)`,
    );
  }
  const branches = wrapped.map((each, index) =>
    readInner(each, row, context, lenient && index > 0 && index === list.length - 1),
  );
  return { type: 'branches', branches, mayFail };
}

function readInner(item: CborItem, row: CommandRow, context: SequenceContext, mayBeEmpty = false): Sequence {
  const wrapped = asBytes(item, `a sequence of ${row.name}`, 'command-argument');
  const inside = { ...context, depth: context.depth + 1 };
  return readSequence(wrapped.value, wrapped.contentStart, inside, mayBeEmpty);
}
