/** The PKCS#11 module: a library of the token's maker, reached through an addon that may not be installed. */
import type { PKCS11 } from 'pkcs11js';
import { KeyError } from '../error.ts';
import { CK } from './constants.ts';

/** The functions of PKCS#11 used here. Anything that has them can stand in for a module. */
export type Cryptoki = Pick<
  PKCS11,
  | 'C_CloseSession'
  | 'C_CreateObject'
  | 'C_DestroyObject'
  | 'C_FindObjects'
  | 'C_FindObjectsFinal'
  | 'C_FindObjectsInit'
  | 'C_GenerateKey'
  | 'C_GenerateKeyPair'
  | 'C_GetAttributeValue'
  | 'C_GetInfo'
  | 'C_GetSlotList'
  | 'C_GetTokenInfo'
  | 'C_Login'
  | 'C_OpenSession'
  | 'C_SignAsync'
  | 'C_SignInit'
  | 'C_WrapKey'
>;

const loaded = new Map<string, Cryptoki>();

/**
 * Loads a module once per process. `path`: the shared library; default the variable FIELDSEAL_PKCS11_MODULE.
 * Throws `KeyError` token-module-missing, token-software-absent, token-module-unloadable.
 */
export async function loadModule(path = process.env.FIELDSEAL_PKCS11_MODULE): Promise<Cryptoki> {
  if (!path) {
    throw new KeyError(
      'token-module-missing',
      'No PKCS#11 module is named, so no token can be reached.',
      'Name the library that came with the token: --module FILE, or FIELDSEAL_PKCS11_MODULE.',
    );
  }
  const known = loaded.get(path);
  if (known) return known;
  const module = initialize(await newAddon(), path);
  loaded.set(path, module);
  return module;
}

// Answers that the addon knows by number only (PKCS#11 v3.1).
const LATER_ANSWERS: Readonly<Record<number, string>> = { 515: 'CKR_KEY_EXHAUSTED' };

/** The name of what a module answered (CKR_...), or undefined where the failure is not one of PKCS#11. */
export function answerOf(error: unknown): string | undefined {
  if (!(error instanceof Error)) return undefined;
  const { code } = error as { code?: unknown };
  return /CKR_[A-Z0-9_]+/.exec(error.message)?.[0] ?? LATER_ANSWERS[Number(code)];
}

async function newAddon(): Promise<PKCS11> {
  try {
    const addon = await import('pkcs11js');
    const { PKCS11: Addon } = 'default' in addon ? (addon.default as typeof addon) : addon;
    return new Addon();
  } catch {
    throw new KeyError(
      'token-software-absent',
      'Tokens need the optional package pkcs11js, which is not installed or was not built for this Node version.',
      'Install it with a C++ compiler at hand: npm install pkcs11js. Or keep the key in a file (--custody file).',
    );
  }
}

function initialize(module: PKCS11, path: string): Cryptoki {
  try {
    module.load(path);
    module.C_Initialize({ flags: CK.osLocking });
  } catch (error) {
    if (answerOf(error) === 'CKR_CRYPTOKI_ALREADY_INITIALIZED') return module;
    throw new KeyError(
      'token-module-unloadable',
      `The PKCS#11 module ${path} could not be loaded (${answerOf(error) ?? (error as Error).message}).`,
      'Check the path, that the library fits this machine, and that its own configuration is readable.',
    );
  }
  return module;
}
