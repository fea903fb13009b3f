import type { Output } from './output.ts';

/** One positional argument of a command; `many` takes all that remain. */
export interface ArgumentSpec {
  readonly name: string;
  readonly about: string;
  readonly optional?: boolean;
}

/** One option. `value` names its argument; without it the option is a switch. */
export interface OptionSpec {
  readonly name: string;
  readonly value?: string;
  readonly about: string;
  readonly required?: boolean;
  /** May be given several times; the values come as an array. */
  readonly repeat?: boolean;
  /** Closed list of values, offered by completion and checked. */
  readonly choices?: readonly string[];
}

/** What a running command is given. */
export interface Call {
  readonly args: readonly string[];
  /** The value of an option, or undefined. */
  text(name: string): string | undefined;
  /** All values of a repeatable option. */
  texts(name: string): readonly string[];
  /** A whole number of at least zero, or undefined. Wrong use otherwise. */
  count(name: string): number | undefined;
  /** The same without an upper bound. */
  big(name: string): bigint | undefined;
  flag(name: string): boolean;
  readonly out: Output;
  /** The command table, for commands about commands. */
  readonly commands: readonly CommandSpec[];
  /** The file descriptor that a passphrase comes from, if one was named. */
  readonly passphraseFd: number | undefined;
  /** The folder named by --workspace, if any. */
  readonly workspaceOption: string | undefined;
}

/** A command's work; gives the exit status. */
export type Run = (call: Call) => Promise<number> | number;

/** One row of the command table. */
export interface CommandSpec {
  /** The words that call it, such as `class add`. */
  readonly name: string;
  readonly group:
    | 'start'
    | 'keys'
    | 'production'
    | 'release'
    | 'plan'
    | 'unit'
    | 'incident'
    | 'records'
    | 'broadcast'
    | 'fleet'
    | 'desk'
    | 'shell';
  readonly summary: string;
  readonly args?: readonly ArgumentSpec[];
  readonly options?: readonly OptionSpec[];
  /** What the help text adds: why, cautions, and a session that works. */
  readonly notes?: string;
  readonly load: () => Promise<{ run: Run }>;
}
