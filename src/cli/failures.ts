import { fromSystem } from '../workspace/index.ts';
import { CommandFailure, EXIT } from './exit.ts';

/** An error of a room: a closed code, a message, perhaps the next move, and perhaps the exit status its table gives. */
interface CodedError extends Error {
  readonly code: string;
  readonly hint?: string;
  readonly status?: number;
}

/** Codes that mean: a rule said no. */
const REFUSED: ReadonlySet<string> = new Set([
  'root-custody',
  'hss-custody',
  'scope-missing',
  'request-unsuitable',
  'certificate-unsuitable',
  'key-trial',
  'key-published',
  'exchange-key-differs',
  'exchange-chain',
  'exchange-fingerprint',
  'root-changed',
  'first-firmware-wrong',
]);

/** Codes that mean: a word on the command line, or a file that the user wrote, is not what was asked for. */
const WRONG_USE: ReadonlySet<string> = new Set([
  'scheme-wrong',
  'root-missing',
  'key-missing',
  'batch-unknown',
  'serials-invalid',
  'job-invalid',
  'result-invalid',
  'authority-folder',
  'approver-missing',
  'person-missing',
  'root-offline',
  'serial-unknown',
  'passphrase-weak',
  'token-uri',
  'bad-size',
]);

/** Turns whatever a command threw into a failure with an exit status. Broken programs keep their stack. */
export function toFailure(error: unknown): CommandFailure {
  if (error instanceof CommandFailure) return error;
  if (isOfSystem(error)) return toFailure(fromSystem(error, `use ${error.path}`, error.path));
  if (isCoded(error)) {
    return new CommandFailure(error.status ?? statusOf(error), error.code, error.message, error.hint);
  }
  const told = error instanceof Error ? (error.stack ?? error.message) : String(error);
  return new CommandFailure(
    EXIT.notDone,
    'program-fault',
    `this should not have happened: ${told}`,
    'It is a fault of the program, not of your input: please report it with the command that you gave.',
  );
}

/** An error about a file, as Node passes it on. */
function isOfSystem(error: unknown): error is NodeJS.ErrnoException & { path: string } {
  if (!isCoded(error)) return false;
  const { errno, path } = error as NodeJS.ErrnoException;
  return typeof errno === 'number' && typeof path === 'string';
}

function isCoded(error: unknown): error is CodedError {
  return error instanceof Error && typeof (error as { code?: unknown }).code === 'string';
}

function statusOf({ name, code }: CodedError): number {
  if (WRONG_USE.has(code)) return EXIT.wrongUse;
  return name === 'ImageError' || REFUSED.has(code) ? EXIT.refused : EXIT.notDone;
}
