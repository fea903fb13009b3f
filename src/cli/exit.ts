/** Exit status of every command. Scripts and factory lines tell these apart. */
export const EXIT = {
  /** Accepted, or done. */
  done: 0,
  /** Refused: a check said no. */
  refused: 1,
  /** Wrong use: the command line, or a file the user wrote, is not what was asked for. */
  wrongUse: 2,
  /** Could not be done: files, token, network, a power cut. */
  notDone: 3,
  /** Incomplete: nothing refuted, but something needed was absent. */
  incomplete: 4,
} as const;

/** A failure with its exit status, told in three parts: what happened, what it means, what to do next. */
export class CommandFailure extends Error {
  constructor(
    readonly status: number,
    readonly code: string,
    message: string,
    readonly hint?: string,
  ) {
    super(message);
  }
}

/** Wrong use of the command line. */
export function wrongUse(message: string, hint?: string): CommandFailure {
  return new CommandFailure(EXIT.wrongUse, 'wrong-use', message, hint);
}
