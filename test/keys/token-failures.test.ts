/** Answers of tokens that SoftHSM2 never gives, from a stand-in for the module. */
import type { TokenInfo } from 'pkcs11js';
import { describe, expect, it, vi } from 'vitest';
import { KeyError } from '../../src/keys/index.ts';
import { TOKEN_FLAG } from '../../src/keys/token/constants.ts';
import { tokenFailure } from '../../src/keys/token/failure.ts';
import { type Cryptoki, loadModule } from '../../src/keys/token/module.ts';
import { TokenSession } from '../../src/keys/token/session.ts';
import { codeOf, failureOf, unattended } from './support.ts';

const USUAL = TOKEN_FLAG.initialized | TOKEN_FLAG.loginRequired | TOKEN_FLAG.userPinInitialized;
const SLOT = Buffer.alloc(8);
const PIN = 'right-pin';

describe('PKCS#11 v3.2 3.5 (CK_TOKEN_INFO): what a token says of itself before a PIN is given', () => {
  it('a locked token is told before a PIN is asked for', async () => {
    const module = standIn({ flags: USUAL | TOKEN_FLAG.userPinLocked });
    const error = await failureOf(() => open(module));
    expect(error.code).toBe('pin-locked');
    expect(error.hint).toContain('security officer');
    expect(module.C_Login).not.toHaveBeenCalled();
  });

  it('before the last try an unattended PIN is held back', async () => {
    const module = standIn({ flags: USUAL | TOKEN_FLAG.userPinFinalTry });
    expect(await codeOf(() => open(module))).toBe('pin-last-try');
    expect(module.C_Login).not.toHaveBeenCalled();
  });

  it('a token with a keypad of its own is given no PIN', async () => {
    const module = standIn({ flags: USUAL | TOKEN_FLAG.protectedPath });
    await TokenSession.open(module, { uri: { token: 'desk' }, secrets: unattended({}) });
    expect(module.C_Login).toHaveBeenCalledWith(expect.anything(), 1, undefined);
  });

  it('a token that wants no login is not logged in', async () => {
    const module = standIn({ flags: TOKEN_FLAG.initialized });
    await TokenSession.open(module, { uri: { token: 'desk' }, secrets: unattended({}) });
    expect(module.C_Login).not.toHaveBeenCalled();
  });

  it('a token that is not initialised is no token', async () => {
    expect(await codeOf(() => open(standIn({ flags: TOKEN_FLAG.loginRequired })))).toBe('token-absent');
  });

  it('one unreadable slot does not hide the token in another', async () => {
    const module = standIn({});
    module.C_GetSlotList = () => [Buffer.of(9), SLOT];
    const info = module.C_GetTokenInfo;
    module.C_GetTokenInfo = (slot) => {
      if (slot[0] === 9) throw new Error('CKR_TOKEN_NOT_RECOGNIZED:225');
      return info(slot);
    };
    const session = await open(module);
    expect(session.label).toBe('desk');
  });
});

describe('answers, in plain words', () => {
  it.each([
    ['CKR_PIN_LOCKED', 'pin-locked'],
    ['CKR_PIN_INCORRECT', 'pin-wrong'],
    ['CKR_DEVICE_REMOVED', 'token-absent'],
  ])('%s at login is %s; the session is closed again', async (answer, code) => {
    const module = standIn({ login: answer });
    expect(await codeOf(() => open(module))).toBe(code);
    expect(module.C_CloseSession).toHaveBeenCalledOnce();
  });

  it('CKR_USER_ALREADY_LOGGED_IN is fine: another session of this process is', async () => {
    await expect(open(standIn({ login: 'CKR_USER_ALREADY_LOGGED_IN' }))).resolves.toBeDefined();
  });

  it('an answer without a row of its own is still a coded error that names it', () => {
    const error = tokenFailure(new Error('CKR_VENDOR_DEFINED_MISERY:2147483648'), 'desk') as KeyError;
    expect(error).toBeInstanceOf(KeyError);
    expect(error).toMatchObject({
      code: 'token-failed',
      message: expect.stringContaining('CKR_VENDOR_DEFINED_MISERY'),
    });
  });

  it('an error that is none of PKCS#11 comes through as it is', () => {
    const error = new RangeError('elsewhere');
    expect(tokenFailure(error, 'desk')).toBe(error);
  });

  it('no PIN ever stands in an error', async () => {
    for (const login of ['CKR_PIN_INCORRECT', 'CKR_GENERAL_ERROR', 'CKR_PIN_LEN_RANGE']) {
      const { message, hint, stack } = await failureOf(() => open(standIn({ login })));
      expect([message, hint, stack].join()).not.toContain(PIN);
    }
  });
});

describe('a failed operation', () => {
  it('gives the session up for a new one, opened before the old one closes', async () => {
    const module = standIn({});
    const calls: string[] = [];
    module.C_OpenSession = () => {
      calls.push('open');
      return Buffer.alloc(8);
    };
    module.C_CloseSession = () => {
      calls.push('close');
    };
    module.C_SignInit = () => {
      throw new Error('CKR_DEVICE_ERROR:48');
    };
    const session = await open(module);
    expect(await codeOf(() => session.sign(() => SLOT, 0x1041, new Uint8Array(32), 64))).toBe('token-failed');
    expect(calls).toEqual(['open', 'open', 'close']);
    expect(session.generation).toBe(1);
  });

  it('on a token that was pulled out: says so, now and at the next use', async () => {
    const module = standIn({});
    const session = await open(module);
    module.C_OpenSession = module.C_SignInit = () => {
      throw new Error('CKR_DEVICE_REMOVED:50');
    };
    const use = () => session.sign(() => SLOT, 0x1041, new Uint8Array(32), 64);
    expect(await codeOf(use)).toBe('token-absent');
    expect(await codeOf(use)).toBe('token-absent');
  });

  it('after close, no new session is opened', async () => {
    const module = standIn({});
    const session = await open(module);
    session.close();
    const opened = vi.fn(() => SLOT);
    module.C_OpenSession = opened;
    module.C_SignInit = () => {
      throw new Error('CKR_SESSION_HANDLE_INVALID:179');
    };
    expect(await codeOf(() => session.sign(() => SLOT, 0x1041, new Uint8Array(32), 64))).toBe('token-absent');
    expect(opened).not.toHaveBeenCalled();
  });
});

describe('the addon', () => {
  it('where pkcs11js is not installed, says what to install', async () => {
    vi.doMock('pkcs11js', () => {
      throw new Error("Cannot find package 'pkcs11js'");
    });
    const error = await failureOf(() => loadModule('/some/module.so'));
    vi.doUnmock('pkcs11js');
    expect(error.code).toBe('token-software-absent');
    expect(error.hint).toContain('npm install pkcs11js');
  });
});

interface Behaviour {
  readonly flags?: number;
  readonly login?: string;
}

/** A module with one token, "desk", that answers as told. */
function standIn({ flags = USUAL, login }: Behaviour) {
  const version = { major: 1, minor: 0 };
  const info = {
    label: 'desk'.padEnd(32),
    serialNumber: '1'.padEnd(16),
    model: 'm'.padEnd(16),
    manufacturerID: 'maker'.padEnd(32),
    firmwareVersion: version,
    flags,
  } as TokenInfo;
  const module = {
    C_GetSlotList: () => [SLOT],
    C_GetTokenInfo: () => info,
    C_OpenSession: () => Buffer.alloc(8),
    C_CloseSession: vi.fn(),
    C_GetAttributeValue: () => [],
    C_SignInit: vi.fn(),
    C_Login: vi.fn(() => {
      if (login) throw new Error(`${login}:1`);
    }),
  };
  return module as unknown as { -readonly [K in keyof Cryptoki]: Cryptoki[K] };
}

function open(module: Cryptoki): Promise<TokenSession> {
  return TokenSession.open(module, { uri: { token: 'desk' }, secrets: unattended({ FIELDSEAL_PIN: PIN }) });
}
