import { closeSync, mkdtempSync, openSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import {
  createSecretSource,
  type PassphraseRequest,
  type PinRequest,
  type SecretOptions,
  withSecret,
} from '../../src/keys/index.ts';
import { codeOf, failureOf, scratch } from './support.ts';

const WORKING: PassphraseRequest = { keyName: 'line-1', purpose: 'working', fresh: false };
const ROOT: PassphraseRequest = { keyName: 'root', purpose: 'root', fresh: false };
const FRESH: PassphraseRequest = { ...WORKING, fresh: true };
const PIN: PinRequest = { token: 'desk', role: 'user', lastTry: false };
const folder = scratch();

describe('passphrases from the environment', () => {
  it('FIELDSEAL_PASSPHRASE opens working keys', async () => {
    expect(await text(source({ FIELDSEAL_PASSPHRASE: 'süß' }).passphrase(WORKING))).toBe('süß');
  });

  it('in a trial workspace it may serve the root too; FIELDSEAL_ROOT_PASSPHRASE goes first', async () => {
    expect(await text(source({ FIELDSEAL_PASSPHRASE: 'w' }).passphrase(ROOT))).toBe('w');
    const both = { FIELDSEAL_PASSPHRASE: 'w', FIELDSEAL_ROOT_PASSPHRASE: 'r' };
    expect(await text(source(both).passphrase(ROOT))).toBe('r');
    expect(await text(source(both).passphrase(WORKING))).toBe('w');
  });

  it('in production it never opens the root', async () => {
    const secrets = source({ FIELDSEAL_PASSPHRASE: 'working-passphrase' }, { production: true });
    const error = await failureOf(() => secrets.passphrase(ROOT));
    expect(error.code).toBe('passphrase-missing');
    expect(error.message).toContain('FIELDSEAL_PASSPHRASE never opens the root');
    expect(error.hint).toContain('FIELDSEAL_ROOT_PASSPHRASE');
    const own = source({ FIELDSEAL_ROOT_PASSPHRASE: 'root-passphrase' }, { production: true });
    expect(await text(own.passphrase(ROOT))).toBe('root-passphrase');
  });

  it('the root variable never serves a working key', async () => {
    expect(await codeOf(() => source({ FIELDSEAL_ROOT_PASSPHRASE: 'r' }).passphrase(WORKING))).toBe(
      'passphrase-missing',
    );
  });

  it('without any way in, names all three', async () => {
    const error = await failureOf(() => source({}).passphrase(WORKING));
    expect(error.code).toBe('passphrase-missing');
    expect(error.hint).toMatch(/FIELDSEAL_PASSPHRASE.*--passphrase-fd.*terminal/);
  });
});

describe('strength of a new passphrase (NIST SP 800-63B 5.1.1.1: at least 8 characters)', () => {
  it.each(['', 'short-7', 'aaaaaaaaaaaa'])('production refuses %j, and does not repeat it', async (weak) => {
    const secrets = source({ FIELDSEAL_PASSPHRASE: weak }, { production: true });
    const error = await failureOf(() => secrets.passphrase(FRESH));
    expect(error.code).toBe('passphrase-weak');
    if (weak) expect(error.message + error.hint).not.toContain(weak);
  });

  it('counts characters, not bytes', async () => {
    const secrets = source({ FIELDSEAL_PASSPHRASE: 'üüüabcd' }, { production: true });
    expect(await codeOf(() => secrets.passphrase(FRESH))).toBe('passphrase-weak');
  });

  it('a trial takes a short one, but not an empty one', async () => {
    expect(await text(source({ FIELDSEAL_PASSPHRASE: 'x' }).passphrase(FRESH))).toBe('x');
    expect(await codeOf(() => source({ FIELDSEAL_PASSPHRASE: '' }).passphrase(FRESH))).toBe(
      'passphrase-weak',
    );
  });

  it('opening a key made before does not judge it again', async () => {
    const secrets = source({ FIELDSEAL_PASSPHRASE: 'old' }, { production: true });
    expect(await text(secrets.passphrase(WORKING))).toBe('old');
  });
});

describe('passphrases from a descriptor', () => {
  it.each([
    ['a line', 'from a file\n', 'from a file'],
    ['a line without end', 'from a file', 'from a file'],
    ['a line of another system', 'from a file\r\n', 'from a file'],
    ['the first of several lines', 'first\nsecond\n', 'first'],
    ['blanks, which belong to it', ' a b \n', ' a b '],
  ])('%s', async (_, content, expected) => {
    await withDescriptor(content, async (fd) => {
      const secrets = source({ FIELDSEAL_PASSPHRASE: 'other' }, { passphraseFd: fd });
      expect(await text(secrets.passphrase(WORKING))).toBe(expected);
      expect(await text(secrets.passphrase(ROOT))).toBe(expected);
    });
  });

  it('an empty one is refused', async () => {
    await withDescriptor('\n', async (fd) => {
      expect(await codeOf(() => source({}, { passphraseFd: fd }).passphrase(WORKING))).toBe(
        'passphrase-weak',
      );
    });
  });

  it('a line too long to be a passphrase is refused, not cut off', async () => {
    await withDescriptor('x'.repeat(5000), async (fd) => {
      expect(await codeOf(() => source({}, { passphraseFd: fd }).passphrase(WORKING))).toBe(
        'secret-unreadable',
      );
    });
  });

  it('a descriptor that is not open', async () => {
    const error = await failureOf(() => source({}, { passphraseFd: 987 }).passphrase(WORKING));
    expect(error.code).toBe('secret-unreadable');
    expect(error.hint).toContain('987<');
  });
});

describe('at a terminal', () => {
  it('a new passphrase is asked for twice, an old one once', async () => {
    const desk = terminal(['correct horse', 'correct horse', 'correct horse']);
    const secrets = source({}, { production: true, terminal: desk });
    expect(await text(secrets.passphrase(FRESH))).toBe('correct horse');
    expect(desk.questions).toHaveLength(2);
    await secrets.passphrase(WORKING);
    expect(desk.questions).toHaveLength(3);
  });

  it('two that differ are asked for again, then given up', async () => {
    const desk = terminal(['correct horse', 'correct hose', 'correct horse', 'correct horse']);
    expect(await text(source({}, { terminal: desk }).passphrase(FRESH))).toBe('correct horse');
    const confused = terminal(Array.from({ length: 6 }, (_, i) => `passphrase ${i}`));
    expect(await codeOf(() => source({}, { terminal: confused }).passphrase(FRESH))).toBe(
      'passphrase-mismatch',
    );
  });

  it('a cancelled prompt', async () => {
    expect(await codeOf(() => source({}, { terminal: terminal([undefined]) }).passphrase(WORKING))).toBe(
      'prompt-cancelled',
    );
  });

  it('the environment goes before the terminal', async () => {
    const desk = terminal([]);
    await source({ FIELDSEAL_PASSPHRASE: 'e' }, { terminal: desk }).passphrase(WORKING);
    expect(desk.questions).toEqual([]);
  });
});

describe('PINs', () => {
  it('come from FIELDSEAL_PIN, those of the security officer from FIELDSEAL_SO_PIN', async () => {
    const secrets = source({ FIELDSEAL_PIN: '1', FIELDSEAL_SO_PIN: '2' });
    expect(await text(secrets.pin(PIN))).toBe('1');
    expect(await text(secrets.pin({ ...PIN, role: 'security-officer' }))).toBe('2');
  });

  it('the last try before a token locks is left to a person', async () => {
    const lastTry = { ...PIN, lastTry: true };
    expect(await codeOf(() => source({ FIELDSEAL_PIN: '1' }).pin(lastTry))).toBe('pin-last-try');
    const desk = terminal(['9']);
    expect(await text(source({ FIELDSEAL_PIN: '1' }, { terminal: desk }).pin(lastTry))).toBe('9');
    expect(desk.questions[0]).toContain('last try');
  });

  it('none at all', async () => {
    expect((await failureOf(() => source({}).pin(PIN))).hint).toContain('FIELDSEAL_PIN');
    expect(await codeOf(() => source({}).pin(PIN))).toBe('pin-missing');
  });
});

describe('withSecret', () => {
  it('zeroes the secret after use, also after a failure', async () => {
    const bytes = Uint8Array.of(1, 2, 3);
    await withSecret(Promise.resolve(bytes), (lent) => expect(lent).toEqual(Uint8Array.of(1, 2, 3)));
    expect(bytes).toEqual(new Uint8Array(3));
    const others = Uint8Array.of(1, 2, 3);
    const failing = withSecret(Promise.resolve(others), () => Promise.reject(new Error('no')));
    await expect(failing).rejects.toThrow('no');
    expect(others).toEqual(new Uint8Array(3));
  });

  it('each asker gets bytes of its own', async () => {
    const secrets = source({ FIELDSEAL_PASSPHRASE: 'again' });
    (await secrets.passphrase(WORKING)).fill(0);
    expect(await text(secrets.passphrase(WORKING))).toBe('again');
  });
});

function source(environment: Record<string, string>, options: Partial<SecretOptions> = {}) {
  const absent = { interactive: false, askHidden: () => Promise.reject(new Error('no terminal')) };
  return createSecretSource({ production: false, environment, terminal: absent, ...options });
}

function terminal(answers: (string | undefined)[]) {
  const questions: string[] = [];
  const left = [...answers];
  return {
    interactive: true,
    questions,
    async askHidden(question: string) {
      questions.push(question);
      return left.shift();
    },
  };
}

async function text(secret: Promise<Uint8Array>): Promise<string> {
  return new TextDecoder().decode(await secret);
}

async function withDescriptor(content: string, use: (fd: number) => Promise<void>): Promise<void> {
  const path = join(mkdtempSync(join(folder, 'fd-')), 'secret');
  writeFileSync(path, content);
  const fd = openSync(path, 'r');
  try {
    await use(fd);
  } finally {
    closeSync(fd);
  }
}
