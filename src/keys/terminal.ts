import { isatty } from 'node:tty';

/** Port: a terminal with a person at it. */
export interface Terminal {
  readonly interactive: boolean;
  /** Asks without showing what is typed. `undefined` where the person gives up. */
  askHidden(question: string): Promise<string | undefined>;
}

/**
 * The terminal this process runs at. Questions go to standard error, so that output stays clean; the prompt
 * library is loaded only when a question is asked.
 */
export function openTerminal(): Terminal {
  return {
    // Asked of the descriptors: touching process.stdin would make a piped one unreadable for --passphrase-fd
    // 0.
    interactive: isatty(0) && isatty(2),
    async askHidden(question) {
      const { isCancel, password } = await import('@clack/prompts');
      const answer = await password({ message: question, output: process.stderr });
      return isCancel(answer) ? undefined : (answer ?? '');
    },
  };
}
