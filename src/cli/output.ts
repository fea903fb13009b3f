import { createColors } from 'picocolors';

type Stream = NodeJS.WriteStream;

const CONTROL = /[^\P{Cc}\n\t]|[\p{Cf}\u2028\u2029]/gu;
/** What `paint` writes. */
const COLOUR = new RegExp(`${String.fromCharCode(27)}\\[[0-9;]*m`, 'g');

/** Text that cannot steer a terminal, whoever wrote it: control characters are shown as question marks. */
export function printable(text: string): string {
  return text.replace(CONTROL, '?');
}

/** The same, where colour of our own stands between. */
function printableBetweenColours(text: string): string {
  const colours = text.match(COLOUR) ?? [];
  return text
    .split(COLOUR)
    .map((part, i) => printable(part) + (colours[i] ?? ''))
    .join('');
}

/**
 * How the command line speaks. Results go to standard output (human lines, or one JSON document with --json);
 * progress, cautions and errors to standard error. Colour only on a terminal, never with NO_COLOR.
 */
export class Output {
  readonly paint: ReturnType<typeof createColors>;
  private progressShown = false;

  constructor(
    readonly json: boolean,
    private readonly stdout: Stream = process.stdout,
    private readonly stderr: Stream = process.stderr,
  ) {
    this.paint = createColors(!json && colourWanted(stdout));
  }

  /** A line of the result, for people. Nothing with --json. */
  line(text = ''): void {
    if (!this.json)
      this.stdout.write(`${this.paint.isColorSupported ? printableBetweenColours(text) : printable(text)}\n`);
  }

  /** A label and its value, aligned, on one line: text that a stranger wrote must not pass for a line of ours. */
  fact(label: string, value: string): void {
    this.line(`  ${this.paint.dim(label.padEnd(20))} ${value.replace(/[\n\t]/g, '?')}`);
  }

  /** The result, for programs: one JSON document with a `format` name and version. Nothing without --json. */
  result(document: object): void {
    if (this.json) this.stdout.write(`${JSON.stringify(document, undefined, 2)}\n`);
  }

  /** Something the user should weigh before going on. With --json cautions stand in the document instead. */
  caution(text: string): void {
    if (this.json) return;
    this.endProgress();
    this.stderr.write(`${createColors(colourWanted(this.stderr)).yellow('caution')}: ${printable(text)}\n`);
  }

  /** A failure: what happened, then the next move. With --json it also goes to standard output as a document. */
  failure(code: string, message: string, hint?: string): void {
    this.endProgress();
    this.stderr.write(`${createColors(colourWanted(this.stderr)).red('fieldseal')}: ${printable(message)}\n`);
    if (hint) this.stderr.write(`  ${printable(hint)}\n`);
    this.result({ format: 'fieldseal.error/1', error: { code, message, hint: hint ?? null } });
  }

  /** Progress of long work, redrawn in place on a terminal and silent elsewhere. */
  progress(label: string, done: number, total: number): void {
    if (!this.stderr.isTTY || total === 0) return;
    const percent = Math.floor((done / total) * 100);
    this.stderr.write(`\r${label} ${String(percent).padStart(3)} %`);
    this.progressShown = true;
    if (done >= total) this.endProgress();
  }

  /** Progress of work whose end is not known, likewise. */
  count(text: string): void {
    if (!this.stderr.isTTY) return;
    this.stderr.write(`\r${text}`);
    this.progressShown = true;
  }

  private endProgress(): void {
    if (this.progressShown) this.stderr.write('\r\u001b[K');
    this.progressShown = false;
  }
}

function colourWanted(stream: Stream): boolean {
  return Boolean(stream.isTTY) && !process.env.NO_COLOR && process.env.TERM !== 'dumb';
}
