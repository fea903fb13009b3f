import { SUIT_LIMITS } from './limits.ts';
import type { ComponentIdentifier, Manifest, SectionName } from './manifest.ts';
import type { Parameters, ParameterValue } from './parameters.ts';
import type { Command, CommandArgument, IndexSelection, Sequence } from './sequence.ts';

/** The sequences of an update and of a start, in order ([M] section 8.4.6). */
export const UPDATE_PROCEDURE: readonly SectionName[] = ['payload-fetch', 'install', 'validate'];
export const INVOCATION_PROCEDURE: readonly SectionName[] = ['validate', 'load', 'invoke'];

/** A component as commands meet it. */
export interface TargetComponent {
  readonly index: number;
  readonly identifier: ComponentIdentifier;
}

/** How a command, a sequence or a procedure ended. */
export type Outcome =
  | { readonly ok: true }
  | {
      readonly ok: false;
      /** The host's reason as it gave it, or a `MachineReason`. */
      readonly reason: string;
      readonly detail: string;
      /** The command that failed. */
      readonly at?: CommandPlace;
    };

/** Where a procedure stopped. */
export interface CommandPlace {
  readonly section: SectionName | 'shared';
  readonly code: number;
  /** Offset of the command as `Command.offset`. */
  readonly offset: number;
  readonly component: number;
}

/** Reasons that the machine itself gives. */
export type MachineReason =
  /** Condition abort (14), or what [M] sections 6.4 to 6.7 and 8.4.8.15 answer with an Abort. */
  | 'abort'
  | 'parameter-missing'
  /** The section is severed and the envelope does not hold it, or holds something else. */
  | 'section-absent'
  | 'section-altered'
  /** More commands than `SUIT_LIMITS.steps`. */
  | 'too-many-steps';

/**
 * What the machine works on. Each call concerns one component and its parameters; those that the command needs are
 * set. They are the machine's own and change as it runs on: copy what is kept. Conditions have no side effects ([M]
 * section 6.4). The policy is a hint for reports ([M] section 8.4.7).
 */
export interface ProcessorHost {
  condition(code: number, component: TargetComponent, parameters: Parameters, policy: number): Outcome;
  directive(code: number, component: TargetComponent, parameters: Parameters, policy: number): Outcome;
}

/**
 * Runs sections of a manifest, the shared sequence before each ([M] sections 5.3.3, 6 and 8.4.6). Parameters begin
 * empty and last through the sections of one call. `'shared'` runs the shared sequence alone. A section the
 * manifest does not have does nothing. Never throws on a manifest; what the host throws passes through.
 */
export function runSequences(
  manifest: Manifest,
  procedure: SectionName | 'shared' | readonly SectionName[],
  host: ProcessorHost,
): Outcome {
  const machine = new Machine(manifest, host);
  if (procedure === 'shared') return outcomeOf(machine.runShared());
  for (const name of typeof procedure === 'string' ? [procedure] : procedure) {
    const failure = machine.runShared() ?? machine.runSection(name);
    if (failure) return outcomeOf(failure);
  }
  return { ok: true };
}

/** A failed condition may be soft; a failed directive and an abort never are ([M] section 6.4). */
interface Failure {
  readonly kind: 'condition' | 'abort';
  readonly reason: string;
  readonly detail: string;
  readonly at?: CommandPlace;
}

function outcomeOf(failure: Failure | undefined): Outcome {
  if (!failure) return { ok: true };
  const { reason, detail, at } = failure;
  return at ? { ok: false, reason, detail, at } : { ok: false, reason, detail };
}

/** State of one running sequence; it is gone when the sequence ends. */
interface Frame {
  /** Soft failure ([M] section 8.4.8.15); undefined outside try-each and run-sequence, where none may be set. */
  soft: boolean | undefined;
  /** Whether set-component-index may come: inside an unordered run-sequence first or never ([M] section 6.7). */
  indexAllowed: 'always' | 'first' | 'never';
  /** Components written and read from while order was not strict; made when that first happens. */
  loose: { readonly written: Set<number>; readonly read: Set<number> } | undefined;
}

function frameOf(soft: boolean | undefined, indexAllowed: Frame['indexAllowed'] = 'always'): Frame {
  return { soft, indexAllowed, loose: undefined };
}

class Machine {
  private readonly manifest: Manifest;
  private readonly host: ProcessorHost;
  private readonly parameters: Map<number, ParameterValue>[];
  private section: SectionName | 'shared' = 'shared';
  private selection: IndexSelection = 0;
  private strictOrder = true;
  private stepsLeft: number = SUIT_LIMITS.steps;

  constructor(manifest: Manifest, host: ProcessorHost) {
    this.manifest = manifest;
    this.host = host;
    this.parameters = manifest.components.map(() => new Map());
  }

  runShared(): Failure | undefined {
    return this.manifest.shared && this.runTop('shared', this.manifest.shared);
  }

  runSection(name: SectionName): Failure | undefined {
    const section = this.manifest.sequences.get(name);
    if (!section) return undefined;
    if ('value' in section) return this.runTop(name, section.value);
    const reason: MachineReason = section.state === 'absent' ? 'section-absent' : 'section-altered';
    const detail =
      section.state === 'absent'
        ? `the manifest holds only the digest of ${name}, and the envelope does not hold it`
        : `${name} in the envelope does not match the digest in the manifest`;
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
    for (const index of this.selected()) {
      this.selection = index;
      failure = this.step(command) ?? run();
      if (failure) break;
    }
    this.selection = selection;
    return failure;
  }

  private selected(): readonly number[] {
    const { selection } = this;
    if (selection === true) return this.manifest.components.map((_, index) => index);
    return typeof selection === 'number' ? [selection] : selection;
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

  private setParameters(command: Command, values: Parameters, frame: Frame): Failure | undefined {
    const soft = values.get(13);
    if (soft !== undefined && frame.soft === undefined) {
      const detail = 'soft failure set outside try-each and run-sequence ([M] section 8.4.8.15)';
      return this.stop('abort', command, 'abort', detail);
    }
    if (soft !== undefined) frame.soft = soft;
    this.strictOrder = values.get(12) ?? this.strictOrder;
    for (const index of this.selected()) {
      const late = this.step(command);
      if (late) return late;
      const store = this.parameters[index]!;
      for (const [code, value] of values) if (code !== 12 && code !== 13) store.set(code, value);
    }
    return undefined;
  }

  /** A condition or a directive with effects: parameters it needs must be set ([M] section 8.4.9). */
  private act(command: Command, policy: number, frame: Frame): Failure | undefined {
    const { row } = command;
    const index = this.selection as number;
    const parameters = this.parameters[index]!;
    const missing = row.needs.find((code) => !parameters.has(code));
    if (missing !== undefined) {
      const detail = `${row.name} needs parameter ${missing}, which nothing has set`;
      return this.stop(kindOf(command), command, 'parameter-missing', detail);
    }
    if (row.code === ABORT)
      return this.stop('condition', command, 'abort', 'the manifest calls for an abort here');
    return this.racing(command, frame) ?? this.ask(command, index, policy);
  }

  private ask(command: Command, index: number, policy: number): Failure | undefined {
    const { row } = command;
    const component = { index, identifier: this.manifest.components[index]! };
    const parameters = this.parameters[index]! as Parameters;
    const outcome =
      row.kind === 'condition'
        ? this.host.condition(row.code, component, parameters, policy)
        : this.host.directive(row.code, component, parameters, policy);
    return outcome.ok ? undefined : this.failure(kindOf(command), command, outcome.reason, outcome.detail);
  }

  /** [M] section 6.7: no component both target and source in a sequence whose order is not strict. */
  private racing(command: Command, frame: Frame): Failure | undefined {
    if (this.strictOrder || !command.row.writes) return undefined;
    frame.loose ??= { written: new Set(), read: new Set() };
    const { written, read } = frame.loose;
    const index = this.selection as number;
    written.add(index);
    const source = command.row.needs.includes(SOURCE_COMPONENT)
      ? (this.parameters[index]! as Parameters).get(SOURCE_COMPONENT)
      : undefined;
    if (source !== undefined) read.add(source);
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
    return { kind, reason, detail, at };
  }
}

const ABORT = 14;
const SOURCE_COMPONENT = 22;

function kindOf(command: Command): Failure['kind'] {
  return command.row.kind === 'condition' ? 'condition' : 'abort';
}
