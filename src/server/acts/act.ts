import type { KeyPlace, SecretSource } from '../../keys/index.ts';
import { readKey, type Workspace } from '../../workspace/index.ts';
import type { Right } from '../access/roles.ts';
import type { Typed } from '../held/typed.ts';

/** How keys are reached, and who is told how far it is. */
export interface ActAccess {
  readonly workspace: Workspace;
  /** Opens working keys: what was typed, or what the desk holds for a while. */
  readonly secrets: SecretSource;
  /** What was typed for this act alone. */
  readonly typed: Typed;
  /** The signer that was chosen, where the act leaves a choice. */
  readonly signer: string | undefined;
  /** Who does it, for the ceremony record. */
  readonly who: string;
  tell(doing: string, done: number, total: number): void;
}

/** A step of a response that the desk does itself, with what follows from it. */
export interface DeskAct {
  readonly says: string;
  readonly consequences: readonly string[];
  /** Must be typed before it is done. */
  readonly confirm: string;
  /** Whoever does it must have this right. */
  readonly right: Right;
  /** Working keys that it opens. */
  readonly opens: readonly OpenedKey[];
  /** Signers of which one must be chosen, and is then opened as well; empty where there is no choice. */
  readonly choices: readonly OpenedKey[];
  /** The root that it opens, for itself alone. */
  readonly root: OpenedKey | undefined;
  /** The key that it makes. */
  readonly makes: MadeHere | undefined;
  perform(access: ActAccess): Promise<void>;
}

/** A key that an act opens, and whether by a passphrase or by the PIN of its token. */
export interface OpenedKey {
  readonly name: string;
  readonly custody: 'file' | 'token';
}

/** How a key of the workspace is opened here. One on an offline machine is not. */
export function openedKey(workspace: Workspace, name: string): OpenedKey {
  return { name, custody: readKey(workspace, name).custody === 'token' ? 'token' : 'file' };
}

/** A key that an act makes: what its name is the name of, and where it may live, the usual place first. */
export interface MadeHere {
  readonly named: string;
  readonly custodies: readonly KeyPlace['custody'][];
}

/** An act without the parts that it does not have. */
export function act(
  parts: Pick<DeskAct, 'says' | 'consequences' | 'confirm' | 'perform'> & Partial<DeskAct>,
): DeskAct {
  return { right: 'operate', opens: [], choices: [], root: undefined, makes: undefined, ...parts };
}

export const IN_THE_LEDGER = 'It is entered in the ledger, and is never taken back.';
