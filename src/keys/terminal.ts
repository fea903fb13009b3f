import { createInterface } from 'node:readline';
import { Writable } from 'node:stream';
import { isatty } from 'node:tty';

/** Port: a terminal with a person at it. */
export interface Terminal {
  readonly interactive: boolean;
  /** Asks without showing what is typed, nor how much of it. `undefined` where the person gives up (Ctrl-C, Ctrl-D). */
  askHidden(question: string): Promise<string | undefined>;
}

/** The terminal this process runs at. Questions go to standard error, so that output stays clean. */
export function openTerminal(): Terminal {
  // Lines typed before they were asked for: they answer the next question, as at any other prompt.
  const ahead: string[] = [];
  return {
    // Asked of the descriptors: touching process.stdin would make a piped one unreadable for --passphrase-fd
    // 0.
    interactive: isatty(0) && isatty(2),
    async askHidden(question) {
      // Asked only once the terminal shows nothing any more: whoever answers at once must not see it.
      const typed = ahead.length === 0 ? typedLines() : [];
      process.stderr.write(`${question}: `);
      ahead.push(...(await typed));
      process.stderr.write('\n');
      return ahead.shift();
    },
  };
}

/** The next line, unechoed, with those that came at once behind it; none where the person gives up. */
function typedLines(): Promise<string[]> {
  const unseen = new Writable({ write: (_bytes, _encoding, done) => done() });
  const reader = createInterface({ input: process.stdin, output: unseen, terminal: true, historySize: 0 });
  const lines: string[] = [];
  return new Promise((resolve) => {
    reader.on('line', (line) => {
      lines.push(line);
      setImmediate(() => reader.close());
    });
    reader.on('close', () => resolve(lines));
  });
}
