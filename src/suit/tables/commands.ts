import { type Row, tableOf } from './row.ts';

/** What follows a command code in a sequence. */
export type ArgumentType =
  /** Reporting policy, an unsigned integer of four bits ([M] section 8.4.7). */
  | 'policy'
  /** Component index: integer, true or a list of integers ([M] section 6.5). */
  | 'index'
  /** Map of parameters ([M] section 8.4.8). */
  | 'parameters'
  /** Two or more wrapped sequences, the last may be nil ([M] section 8.4.10.2). */
  | 'branches'
  /** One wrapped sequence ([M] section 8.4.10.8). */
  | 'sequence'
  /** Map from component index to a map of parameters ([UM] section 5.7). */
  | 'parameters-by-component'
  /** Map from component index to a list of parameter codes ([UM] section 5.8). */
  | 'parameter-copies';

export interface CommandRow extends Row {
  readonly kind: 'condition' | 'directive';
  readonly argument: ArgumentType;
  /** Parameters that must be set before the command runs ([M] section 8.4.9). */
  readonly needs: readonly number[];
  /** Admitted in the shared sequence ([M] Appendix A, SUIT_Shared_Sequence; set-parameters by [TD] 8.1). */
  readonly inShared: boolean;
  /** Stores into the current component: it must not also be a source while order is not strict ([M] section 6.7). */
  readonly writes: boolean;
}

type Brief = Pick<CommandRow, 'code' | 'name' | 'source'> & Partial<CommandRow>;

/** A condition that runs: a policy for argument, admitted in the shared sequence. */
const condition = (row: Brief): CommandRow => ({
  kind: 'condition',
  argument: 'policy',
  needs: [],
  inShared: true,
  writes: false,
  support: 'runs',
  ...row,
});

/** A directive that runs: a policy for argument, not admitted in the shared sequence. */
const directive = (row: Brief): CommandRow => ({
  kind: 'directive',
  argument: 'policy',
  needs: [],
  inShared: false,
  writes: false,
  support: 'runs',
  ...row,
});

/** Conditions and directives ([M] section 11.4 and the extensions' registrations). */
export const COMMANDS = tableOf<CommandRow>([
  condition({ code: 1, name: 'condition-vendor-identifier', needs: [1], source: '[M] 8.4.9.1' }),
  condition({ code: 2, name: 'condition-class-identifier', needs: [2], source: '[M] 8.4.9.1' }),
  condition({ code: 3, name: 'condition-image-match', needs: [3], source: '[M] 8.4.9.2' }),
  condition({ code: 4, name: 'condition-use-before', needs: [4], source: '[UM] 5.1' }),
  condition({ code: 5, name: 'condition-component-slot', needs: [5], source: '[M] 8.4.9.4' }),
  condition({ code: 6, name: 'condition-check-content', needs: [18], source: '[M] 8.4.9.3' }),
  condition({
    code: 7,
    name: 'condition-dependency-integrity',
    needs: [3],
    support: 'dependencies',
    source: '[TD] 5.6.4',
  }),
  condition({ code: 8, name: 'condition-is-dependency', support: 'dependencies', source: '[TD] 5.6.3' }),
  directive({
    code: 11,
    name: 'directive-process-dependency',
    support: 'dependencies',
    source: '[TD] 5.6.2',
  }),
  directive({
    code: 12,
    name: 'directive-set-component-index',
    argument: 'index',
    inShared: true,
    source: '[M] 8.4.10.1',
  }),
  condition({ code: 14, name: 'condition-abort', source: '[M] 8.4.9.5' }),
  directive({
    code: 15,
    name: 'directive-try-each',
    argument: 'branches',
    inShared: true,
    source: '[M] 8.4.10.2',
  }),
  directive({ code: 18, name: 'directive-write', needs: [18], writes: true, source: '[M] 8.4.10.6' }),
  directive({
    code: 19,
    name: 'directive-set-parameters',
    argument: 'parameters',
    inShared: true,
    support: 'set-parameters',
    source: '[TD] 5.6.1',
  }),
  directive({
    code: 20,
    name: 'directive-override-parameters',
    argument: 'parameters',
    inShared: true,
    source: '[M] 8.4.10.3',
  }),
  directive({ code: 21, name: 'directive-fetch', needs: [21], writes: true, source: '[M] 8.4.10.4' }),
  directive({ code: 22, name: 'directive-copy', needs: [22], writes: true, source: '[M] 8.4.10.5' }),
  directive({ code: 23, name: 'directive-invoke', source: '[M] 8.4.10.7' }),
  condition({ code: 24, name: 'condition-device-identifier', needs: [24], source: '[M] 8.4.9.1' }),
  condition({ code: 25, name: 'condition-image-not-match', needs: [3], source: '[UM] 5.2' }),
  condition({ code: 26, name: 'condition-minimum-battery', needs: [26], source: '[UM] 5.3' }),
  condition({ code: 27, name: 'condition-update-authorized', needs: [27], source: '[UM] 5.4' }),
  condition({ code: 28, name: 'condition-version', needs: [28], source: '[UM] 5.5' }),
  directive({ code: 29, name: 'directive-wait', needs: [29], support: 'wait', source: '[UM] 5.6' }),
  directive({ code: 31, name: 'directive-swap', support: 'named', source: '[M] 8.4.10.9' }),
  directive({
    code: 32,
    name: 'directive-run-sequence',
    argument: 'sequence',
    inShared: true,
    source: '[M] 8.4.10.8',
  }),
  directive({ code: 33, name: 'directive-unlink', support: 'named', source: '[TD] 5.6.5' }),
  directive({
    code: 34,
    name: 'directive-override-multiple',
    argument: 'parameters-by-component',
    support: 'parameter-lists',
    source: '[UM] 5.7',
  }),
  directive({
    code: 35,
    name: 'directive-copy-params',
    argument: 'parameter-copies',
    support: 'parameter-lists',
    source: '[UM] 5.8',
  }),
]);

/**
 * Codes from here down are custom, defined by the author of a manifest processor. Section 8.4.11 says "less than
 * -256", section 11 "-256 and below"; we take the narrower range.
 */
export const HIGHEST_CUSTOM_CODE = -257;
