import { SUIT_LIMITS } from '../limits.ts';
import type { Manifest, SectionName, Severable } from '../manifest.ts';
import type { Parameters, ParameterValue } from '../parameters.ts';
import type { Command, CommandArgument, IndexSelection, Sequence } from '../sequence.ts';
import { Context, type Slot } from './context.ts';
import { type Frame, frameOf } from './frame.ts';
import type { ProcessorHost } from './host.ts';
import { type Failure, kindOf, type MachineReason } from './outcome.ts';

/** Commands that the machine carries out itself. */
const DEPENDENCY_INTEGRITY = 7;
const IS_DEPENDENCY = 8;
const PROCESS_DEPENDENCY = 11;
const ABORT = 14;
const SET_PARAMETERS = 19;

const IMAGE_DIGEST = 3;
const STRICT_ORDER = 12;
const SOFT_FAILURE = 13;
const SOURCE_COMPONENT = 22;

/** The abstract machine of [M] section 6.4 with the changes of [TD] section 5.3: one for each procedure. */
export class Machine {
  private readonly host: ProcessorHost;
  /** The manifest whose commands run: the root, or the dependency that is being processed. */
  private context: Context;
  private readonly root: Context;
  private section: SectionName | 'shared' = 'shared';
  private selection: IndexSelection = 0;
  private strictOrder = true;
  private stepsLeft: number = SUIT_LIMITS.steps;
  private checksLeft: number = SUIT_LIMITS.dependencyChecks;

  constructor(manifest: Manifest, host: ProcessorHost) {
    this.host = host;
    this.root = new Context(manifest);
    this.context = this.root;
  }

  runShared(): Failure | undefined {
    const { shared } = this.context.manifest;
    return shared && this.runTop('shared', shared);
  }

  /** A section, and after it the question whether each dependency had its turn. */
  runSection(name: SectionName): Failure | undefined {
    const section = this.context.manifest.sequences.get(name);
    return (section && this.runSeverable(name, section)) ?? this.finish(name);
  }

  private runSeverable(name: SectionName, section: Severable<Sequence>): Failure | undefined {
    if ('value' in section) return this.runTop(name, section.value);
    const reason: MachineReason = section.state === 'absent' ? 'section-absent' : 'section-altered';
    const detail =
      section.state === 'absent'
        ? `the manifest holds only the digest of ${name}, and the envelope does not hold it`
        : `${name} in the envelope does not match the digest in the manifest`;
    return { kind: 'abort', reason, detail };
  }

  private finish(name: SectionName): Failure | undefined {
    this.context.finished(name);
    const missed = this.context.unprocessed();
    if (!missed) return undefined;
    const reason: MachineReason = 'dependency-unprocessed';
    const detail = `dependency ${missed.index} has a section ${missed.section} that was not processed in its turn ([TD] section 5.1)`;
    return { kind: 'abort', reason, detail };
  }

  private runTop(name: SectionName | 'shared', sequence: Sequence): Failure | undefined {
    this.section = name;
    this.selection = 0;
    return this.runSequence(sequence, frameOf(undefined));
  }

  private runSequence(sequence: Sequence, frame: Frame): Failure | undefined {
    let first = true;
    for (const command of sequence.commands) {
      const failure = this.runCommand(command, frame, first);
      if (failure) return failure;
      first = false;
    }
    return undefined;
  }

  private runCommand(command: Command, frame: Frame, first: boolean): Failure | undefined {
    const { argument } = command;
    switch (argument.type) {
      case 'index':
        return this.setIndex(command, argument.selection, frame, first);
      case 'parameters':
        return this.setParameters(command, argument.values, frame);
      case 'parameters-by-component':
        return this.setByComponent(command, argument.values, frame, first);
      case 'parameter-copies':
        return this.copyParameters(command, argument.codes, frame);
      case 'policy':
        return this.forEachComponent(command, () => this.act(command, argument.policy, frame));
      case 'branches':
        return this.forEachComponent(command, () => this.tryEach(argument));
      case 'sequence': {
        const indexAllowed = this.indexRuleInside();
        return this.forEachComponent(command, () => this.runInner(command, argument.sequence, indexAllowed));
      }
    }
  }

  /** [M] section 6.5: each command runs once per selected component, and sees an integer index. */
  private forEachComponent(command: Command, run: () => Failure | undefined): Failure | undefined {
    const { selection } = this;
    if (typeof selection === 'number') return this.step(command) ?? run();
    let failure: Failure | undefined;
    for (const index of this.selectedFor(command)) {
      this.selection = index;
      failure = this.step(command) ?? run();
      if (failure) break;
    }
    this.selection = selection;
    return failure;
  }

  private selected(): readonly number[] {
    const { selection } = this;
    if (selection === true) return this.context.slots.map((_, index) => index);
    return typeof selection === 'number' ? [selection] : selection;
  }

  /** "True" means all dependencies to process-dependency ([TD] section 5.6.2). */
  private selectedFor({ row }: Command): readonly number[] {
    if (row.code !== PROCESS_DEPENDENCY || this.selection !== true) return this.selected();
    return [...this.context.manifest.dependencies.keys()];
  }

  private step(command: Command): Failure | undefined {
    if (this.stepsLeft-- > 0) return undefined;
    return this.failure(
      'abort',
      command,
      'too-many-steps',
      `more than ${SUIT_LIMITS.steps} commands in a procedure`,
    );
  }

  private setIndex(
    command: Command,
    selection: IndexSelection,
    frame: Frame,
    first: boolean,
  ): Failure | undefined {
    if (frame.indexAllowed === 'never' || (frame.indexAllowed === 'first' && !first)) {
      const detail = 'set-component-index inside a sequence that may run out of order ([M] section 6.7)';
      return this.stop('abort', command, 'abort', detail);
    }
    this.selection = selection;
    return this.step(command);
  }

  /** Override replaces; set-parameters leaves alone what is set, so what always has a value too. */
  private setParameters(command: Command, values: Parameters, frame: Frame): Failure | undefined {
    const replaces = command.row.code !== SET_PARAMETERS;
    const soft = replaces ? values.get(SOFT_FAILURE) : undefined;
    if (soft !== undefined && frame.soft === undefined) {
      const detail = 'soft failure set outside try-each and run-sequence ([M] section 8.4.8.15)';
      return this.stop('abort', command, 'abort', detail);
    }
    if (soft !== undefined) frame.soft = soft;
    if (replaces) this.strictOrder = values.get(STRICT_ORDER) ?? this.strictOrder;
    for (const index of this.selected()) {
      const late = this.step(command);
      if (late) return late;
      const store = this.context.slots[index]!.parameters;
      for (const [code, value] of values) {
        if (code === STRICT_ORDER || code === SOFT_FAILURE) continue;
        if (replaces || !store.values.has(code)) store.set(code, value, this.context);
      }
    }
    return undefined;
  }

  /** [UM] section 5.7: set-component-index and override-parameters by turns. */
  private setByComponent(
    command: Command,
    values: ReadonlyMap<number, Parameters>,
    frame: Frame,
    first: boolean,
  ): Failure | undefined {
    for (const [index, own] of values) {
      const failure = this.setIndex(command, index, frame, first) ?? this.setParameters(command, own, frame);
      if (failure) return failure;
    }
    return undefined;
  }

  /** [UM] section 5.8: override-parameters with what other components have. What they lack fails. */
  private copyParameters(
    command: Command,
    codes: ReadonlyMap<number, readonly number[]>,
    frame: Frame,
  ): Failure | undefined {
    const values = new Map<number, ParameterValue>();
    for (const [index, wanted] of codes) {
      for (const code of wanted) {
        const value = this.context.valueOf(index, code);
        if (value === undefined) {
          const detail = `component ${index} has no parameter ${code} to copy`;
          return this.stop('abort', command, 'parameter-missing', detail);
        }
        values.set(code, value);
      }
    }
    return this.setParameters(command, values as Parameters, frame);
  }

  /** A condition or a directive with effects: parameters it needs must be set ([M] section 8.4.9). */
  private act(command: Command, policy: number, frame: Frame): Failure | undefined {
    const { row } = command;
    const slot = this.context.slots[this.selection as number]!;
    const missing = row.needs.find((code) => !slot.parameters.values.has(code));
    if (missing !== undefined) {
      const detail = `${row.name} needs parameter ${missing}, which nothing has set`;
      return this.stop(kindOf(command), command, 'parameter-missing', detail);
    }
    switch (row.code) {
      case ABORT:
        return this.stop('condition', command, 'abort', 'the manifest calls for an abort here');
      case IS_DEPENDENCY:
        return slot.component.dependency ? undefined : this.notADependency('condition', command);
      case DEPENDENCY_INTEGRITY:
        return this.checkDependency(command, slot);
      case PROCESS_DEPENDENCY:
        return this.processDependency(command, slot);
      default:
        return this.racing(command, slot, frame) ?? this.ask(command, slot, policy);
    }
  }

  private ask(command: Command, slot: Slot, policy: number): Failure | undefined {
    const { row } = command;
    const parameters = slot.parameters.values as Parameters;
    if (row.writes) this.root.overwritten(slot.name);
    const outcome =
      row.kind === 'condition'
        ? this.host.condition(row.code, slot.component, parameters, policy)
        : this.host.directive(row.code, slot.component, parameters, policy);
    return outcome.ok ? undefined : this.failure(kindOf(command), command, outcome.reason, outcome.detail);
  }

  /** [TD] section 5.6.4: any failure is an abort, though this is a condition. */
  private checkDependency(command: Command, { component, parameters }: Slot): Failure | undefined {
    if (!component.dependency) return this.notADependency('abort', command);
    const { index } = component;
    this.context.forget(index);
    if (this.context.path.length >= SUIT_LIMITS.dependencyDepth || this.checksLeft-- <= 0) {
      const { dependencyChecks, dependencyDepth } = SUIT_LIMITS;
      const detail = `more than ${dependencyChecks} checks of dependencies, or deeper than ${dependencyDepth}`;
      return this.stop('abort', command, 'too-many-dependencies', detail);
    }
    const values = parameters.values as Parameters;
    const outcome = this.host.dependency?.(component, values) ?? NO_DEPENDENCIES;
    if (!outcome.ok) return this.failure('abort', command, outcome.reason, outcome.detail);
    this.context.enter(index, outcome.manifest, values.get(IMAGE_DIGEST)!);
    return undefined;
  }

  /** [TD] sections 5.4 and 5.6.2. How the dependency ended is how this ends: a failed condition stays one. */
  private processDependency(command: Command, { component }: Slot): Failure | undefined {
    if (!component.dependency) return this.notADependency('abort', command);
    const dependency = this.context.dependency(component.index);
    if (!dependency || this.section === 'shared') {
      const detail =
        'process-dependency comes before dependency-integrity, or after the dependency was overwritten';
      return this.stop('abort', command, 'dependency-unchecked', `${detail} ([TD] section 5.6.2)`);
    }
    const { context, section, selection, strictOrder } = this;
    this.context = dependency;
    this.strictOrder = true;
    const failure = dependency.manifest.sequences.has(section)
      ? (this.runShared() ?? this.runSection(section))
      : this.finish(section);
    this.context = context;
    this.section = section;
    this.selection = selection;
    this.strictOrder = strictOrder;
    return failure;
  }

  private notADependency(kind: Failure['kind'], command: Command): Failure {
    const detail = 'the component is not in the map of dependencies ([TD] section 5.2.2)';
    return this.stop(kind, command, 'not-a-dependency', detail);
  }

  /** [M] section 6.7: no component both target and source in a sequence whose order is not strict. */
  private racing(command: Command, slot: Slot, frame: Frame): Failure | undefined {
    const copies = command.row.needs.includes(SOURCE_COMPONENT);
    if (copies && !slot.parameters.settleSource(this.context)) {
      const detail = 'the source component was set by another manifest, and this one does not list it';
      return this.stop('abort', command, 'parameter-missing', detail);
    }
    if (this.strictOrder || !command.row.writes) return undefined;
    frame.loose ??= { written: new Set(), read: new Set() };
    const { written, read } = frame.loose;
    written.add(slot.component.index);
    if (copies) read.add((slot.parameters.values as Parameters).get(SOURCE_COMPONENT)!);
    if (![...read].some((each) => written.has(each))) return undefined;
    const detail = 'a component is both written and read from while order is not strict ([M] section 6.7)';
    return this.stop('abort', command, 'abort', detail);
  }

  /** [M] section 8.4.10.2: the first branch that succeeds ends it; soft failure begins true in each. */
  private tryEach(argument: CommandArgument & { type: 'branches' }): Failure | undefined {
    const { selection } = this;
    let last: Failure | undefined;
    for (const branch of argument.branches) {
      const frame = frameOf(true);
      this.selection = selection;
      last = this.runSequence(branch, frame);
      if (!last || last.kind === 'abort') return last;
      if (!frame.soft) return { ...last, kind: 'abort' };
    }
    return argument.mayFail ? undefined : last;
  }

  /**
   * [M] section 8.4.10.8: soft failure begins false. A failed condition is forwarded as one, so that an enclosing
   * try-each may go on; strict order holds inside ([M] section 6.7).
   */
  private runInner(
    command: Command,
    sequence: Sequence,
    indexAllowed: Frame['indexAllowed'],
  ): Failure | undefined {
    if (indexAllowed === 'first' && sequence.commands[0]?.argument.type !== 'index') {
      const detail =
        'a sequence that may run out of order does not begin with set-component-index ([M] section 6.7)';
      return this.stop('abort', command, 'abort', detail);
    }
    const { strictOrder, selection } = this;
    if (!strictOrder) this.strictOrder = true;
    const frame = frameOf(false, indexAllowed);
    const failure = this.runSequence(sequence, frame);
    if (!strictOrder) {
      this.strictOrder = false;
      this.selection = selection;
    }
    return failure?.kind === 'condition' && frame.soft ? undefined : failure;
  }

  private indexRuleInside(): Frame['indexAllowed'] {
    if (this.strictOrder) return 'always';
    return typeof this.selection === 'number' ? 'first' : 'never';
  }

  /** A reason of the machine's own. */
  private stop(kind: Failure['kind'], command: Command, reason: MachineReason, detail: string): Failure {
    return this.failure(kind, command, reason, detail);
  }

  private failure(kind: Failure['kind'], command: Command, reason: string, detail: string): Failure {
    const component = this.selected()[0] ?? 0;
    const at = { section: this.section, code: command.row.code, offset: command.offset, component };
    const { path } = this.context;
    return { kind, reason, detail, at: path.length > 0 ? { ...at, dependency: path } : at };
  }
}

const NO_DEPENDENCIES = {
  ok: false,
  reason: 'not-a-dependency' satisfies MachineReason,
  detail: 'this processor takes no dependencies',
} as const;
