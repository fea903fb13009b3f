/**
 * Where passphrases and PINs come from: a file descriptor, the environment, a terminal. Never an argument.
 * What is given out are fresh bytes that the asker zeroes; strings of the environment and the terminal cannot
 * be zeroed.
 */
import { readSync } from 'node:fs';
import { fromUtf8 } from '../bytes/index.ts';
import { KeyError } from './error.ts';
import { openTerminal, type Terminal } from './terminal.ts';

/** A passphrase wanted. `fresh`: for a key being made, so it is checked for strength and asked for twice. */
export interface PassphraseRequest {
  readonly keyName: string;
  readonly purpose: 'root' | 'approver' | 'working';
  readonly fresh: boolean;
}

/** A PIN wanted. `lastTry`: one more wrong PIN locks the token, so only a person may answer. */
export interface PinRequest {
  readonly token: string;
  readonly role: 'user' | 'security-officer';
  readonly lastTry: boolean;
}

/** Port: gives out secrets as UTF-8 bytes, which the caller zeroes after use. */
export interface SecretSource {
  /** Throws `KeyError` passphrase-missing, -weak, -mismatch, secret-unreadable, prompt-cancelled. */
  passphrase(request: PassphraseRequest): Promise<Uint8Array>;
  /** Throws `KeyError` pin-missing, pin-last-try, prompt-cancelled. */
  pin(request: PinRequest): Promise<Uint8Array>;
}

export interface SecretOptions {
  /** Production: FIELDSEAL_PASSPHRASE never serves the root or an approver, and weak passphrases are refused. */
  readonly production: boolean;
  /** Descriptor to read the passphrase from; its first line serves every key of this command. */
  readonly passphraseFd?: number | undefined;
  readonly environment?: Readonly<Record<string, string | undefined>>;
  readonly terminal?: Terminal;
}

/** Fewest characters of a passphrase in production (NIST SP 800-63B section 5.1.1.1). */
export const SHORTEST_PASSPHRASE = 8;

const VARIABLE = {
  working: 'FIELDSEAL_PASSPHRASE',
  root: 'FIELDSEAL_ROOT_PASSPHRASE',
  approver: 'FIELDSEAL_APPROVER_PASSPHRASE',
  user: 'FIELDSEAL_PIN',
  'security-officer': 'FIELDSEAL_SO_PIN',
} as const;
const LONGEST_SECRET = 1024;
const TYPING_ATTEMPTS = 3;

/**
 * The usual source of secrets. In order: the descriptor, where one is named; the environment
 * (FIELDSEAL_PASSPHRASE, for the root FIELDSEAL_ROOT_PASSPHRASE, for approvers FIELDSEAL_APPROVER_PASSPHRASE; FIELDSEAL_PIN,
 * for the security officer FIELDSEAL_SO_PIN); the terminal.
 */
export function createSecretSource(options: SecretOptions): SecretSource {
  const environment = options.environment ?? process.env;
  const terminal = options.terminal ?? openTerminal();
  let fromFd: Uint8Array | undefined;

  async function unattended(request: PassphraseRequest): Promise<Uint8Array | undefined> {
    if (options.passphraseFd !== undefined) {
      fromFd ??= readSecretLine(options.passphraseFd, 'passphrase');
      return new Uint8Array(fromFd);
    }
    return passphraseFromEnvironment(environment, request.purpose, options.production);
  }

  return {
    async passphrase(request) {
      const given = await unattended(request);
      if (given) return requireStrength(given, request, options.production);
      requireTerminal(terminal, request, options.production);
      return request.fresh
        ? askTwice(terminal, request, options.production)
        : ask(terminal, `Passphrase of the key ${request.keyName}`);
    },
    async pin(request) {
      const given = environment[VARIABLE[request.role]];
      if (given && !request.lastTry) return fromUtf8(given);
      if (terminal.interactive) return ask(terminal, pinQuestion(request));
      throw given ? lastTry(request) : pinMissing(request);
    },
  };
}

/** Lends a secret to `use` and zeroes it afterwards, whatever happens. */
export async function withSecret<T>(
  secret: Promise<Uint8Array>,
  use: (secret: Uint8Array) => Promise<T> | T,
): Promise<T> {
  const bytes = await secret;
  try {
    return await use(bytes);
  } finally {
    bytes.fill(0);
  }
}

function passphraseFromEnvironment(
  environment: Readonly<Record<string, string | undefined>>,
  purpose: PassphraseRequest['purpose'],
  production: boolean,
): Uint8Array | undefined {
  const shared = purpose !== 'working' && production ? undefined : environment[VARIABLE.working];
  const text = environment[VARIABLE[purpose]] ?? shared;
  return text === undefined ? undefined : fromUtf8(text);
}

/**
 * The first line of a descriptor that the option `--NAME-fd` names, without its line end; the caller zeroes it. What follows
 * is never read into the secret. Throws `KeyError` secret-unreadable.
 */
export function readSecretLine(fd: number, name: 'passphrase' | 'mqtt-password'): Uint8Array {
  const buffer = Buffer.alloc(LONGEST_SECRET);
  let length = 0;
  try {
    while (length < buffer.length) {
      const count = readSync(fd, buffer, length, buffer.length - length, null);
      length += count;
      if (count === 0 || buffer.subarray(0, length).includes(0x0a)) break;
    }
  } catch (error) {
    throw new KeyError(
      'secret-unreadable',
      `--${name}-fd: nothing could be read from file descriptor ${fd} (${(error as NodeJS.ErrnoException).code}).`,
      `Open it for this command, for example: fieldseal ... --${name}-fd ${fd} ${fd}< secret-file`,
    );
  }
  const end = buffer.indexOf(0x0a);
  if (end < 0 && length === LONGEST_SECRET) throw tooLong(fd, name);
  const line = buffer.subarray(0, end < 0 ? length : end);
  const secret = new Uint8Array(line.at(-1) === 0x0d ? line.subarray(0, -1) : line);
  buffer.fill(0);
  return secret;
}

function tooLong(fd: number, name: string): KeyError {
  return new KeyError(
    'secret-unreadable',
    `--${name}-fd: the first line of file descriptor ${fd} has more than ${LONGEST_SECRET} bytes; that is no secret of ours.`,
    'Give a descriptor whose first line is the secret and nothing else.',
  );
}

/** The secret itself, fit for its key; a weak one is zeroed and refused. Throws `KeyError` passphrase-weak. */
export function requireStrength(
  secret: Uint8Array,
  request: PassphraseRequest,
  production: boolean,
): Uint8Array {
  const weakness = weaknessOf(secret, request.fresh && production);
  if (!weakness) return secret;
  secret.fill(0);
  throw new KeyError(
    'passphrase-weak',
    `The passphrase for the key ${request.keyName} ${weakness}.`,
    `Use at least ${SHORTEST_PASSPHRASE} characters; several random words are easy to keep and hard to guess.`,
  );
}

function weaknessOf(secret: Uint8Array, strict: boolean): string | undefined {
  if (secret.length === 0) return 'is empty';
  const letters = [...new TextDecoder().decode(secret)];
  if (strict && letters.length < SHORTEST_PASSPHRASE)
    return `is shorter than ${SHORTEST_PASSPHRASE} characters`;
  if (strict && new Set(letters).size === 1) return 'repeats one character';
  return undefined;
}

async function askTwice(
  terminal: Terminal,
  request: PassphraseRequest,
  production: boolean,
): Promise<Uint8Array> {
  for (let attempt = 0; attempt < TYPING_ATTEMPTS; attempt++) {
    const first = await ask(terminal, `New passphrase for the key ${request.keyName}`);
    requireStrength(first, request, production);
    const second = await ask(terminal, 'The same passphrase again');
    const same = Buffer.compare(first, second) === 0;
    second.fill(0);
    if (same) return first;
    first.fill(0);
  }
  throw new KeyError(
    'passphrase-mismatch',
    'The two passphrases differed each time; no key was made.',
    'Start again, and type it where the keyboard layout is the one you expect.',
  );
}

async function ask(terminal: Terminal, question: string): Promise<Uint8Array> {
  const answer = await terminal.askHidden(question);
  if (answer !== undefined) return fromUtf8(answer);
  throw new KeyError(
    'prompt-cancelled',
    'The prompt was cancelled; nothing was done.',
    'Run the command again.',
  );
}

function requireTerminal(terminal: Terminal, request: PassphraseRequest, production: boolean): void {
  if (terminal.interactive) return;
  const variable = VARIABLE[request.purpose];
  const apart =
    request.purpose !== 'working' && production
      ? ` In a production workspace FIELDSEAL_PASSPHRASE never opens ${request.purpose === 'root' ? 'the root' : 'the key of an approver'}.`
      : '';
  throw new KeyError(
    'passphrase-missing',
    `The key ${request.keyName} needs a passphrase, and there is no terminal to ask at.${apart}`,
    `Set ${variable}, name a descriptor with --passphrase-fd N, or run the command at a terminal.`,
  );
}

function pinQuestion(request: PinRequest): string {
  const whose = request.role === 'user' ? 'PIN' : 'Security officer PIN';
  const caution = request.lastTry ? ' (last try: a wrong PIN locks the token)' : '';
  return `${whose} of the token ${request.token}${caution}`;
}

function pinMissing(request: PinRequest): KeyError {
  return new KeyError(
    'pin-missing',
    `The token ${request.token} needs ${request.role === 'user' ? 'its PIN' : "its security officer's PIN"}, and there is no terminal to ask at.`,
    `Set ${VARIABLE[request.role]}, or run the command at a terminal.`,
  );
}

function lastTry(request: PinRequest): KeyError {
  return new KeyError(
    'pin-last-try',
    `One more wrong PIN locks the token ${request.token}, so the PIN is not taken from the environment now.`,
    'Run the command at a terminal and type the PIN; a right one resets the count.',
  );
}
