import { randomBytes, scrypt, timingSafeEqual } from 'node:crypto';
import { z } from 'zod';
import type { Workspace } from '../../workspace/index.ts';
import { DeskError } from '../error.ts';
import { thumbprint, unguessable } from './random.ts';
import { ROLE_NAMES, type Role } from './roles.ts';

/** scrypt (RFC 7914): N = 2^15, r = 8, p = 3 needs 32 MiB for each try. */
const COST = { N: 2 ** 15, r: 8, p: 3, maxmem: 64 * 2 ** 20 } as const;
const KEY_LENGTH = 32;
const SALT_LENGTH = 16;
/** Fewest characters of a password (NIST SP 800-63B section 5.1.1.1 asks for 8; a desk on a network for more). */
const SHORTEST_PASSWORD = 12;
const NAME = /^[a-z][a-z0-9-]{0,31}$/;

const accountSchema = z.strictObject({
  name: z.string().regex(NAME),
  role: z.enum(ROLE_NAMES),
  /** A person has a password, a program a token; only what proves them is kept. */
  password: z.strictObject({ salt: z.string(), hash: z.string() }).optional(),
  token_sha256: z.string().optional(),
});
const fileSchema = z.strictObject({
  format: z.literal('fieldseal.desk-accounts/1'),
  accounts: z.array(accountSchema),
});
export type Account = z.infer<typeof accountSchema>;

/** Who may use the desk from elsewhere. Kept in private/desk-accounts.json, which never goes into git. */
export class Accounts {
  readonly #workspace: Workspace;
  readonly #path: string;

  constructor(workspace: Workspace) {
    this.#workspace = workspace;
    this.#path = workspace.path('private', 'desk-accounts.json');
  }

  list(): readonly Account[] {
    if (!this.#workspace.files.exists(this.#path)) return [];
    const parsed = fileSchema.safeParse(readJson(this.#workspace.files.readText(this.#path)));
    if (parsed.success) return parsed.data.accounts;
    throw new DeskError(
      'accounts-damaged',
      `the accounts of the desk cannot be read: ${this.#workspace.show(this.#path)}`,
      'restore the file from a backup, or remove it and make the accounts again',
    );
  }

  /** Makes an account for a person. Throws `DeskError` account-taken, account-name, password-weak. */
  async addPerson(name: string, role: Role, password: Uint8Array): Promise<void> {
    if (new TextDecoder().decode(password).length < SHORTEST_PASSWORD) {
      throw new DeskError(
        'password-weak',
        `the password is shorter than ${SHORTEST_PASSWORD} characters`,
        'several random words are easy to keep and hard to guess',
      );
    }
    const salt = randomBytes(SALT_LENGTH);
    const hash = await derive(password, salt);
    this.#add({ name, role, password: { salt: salt.toString('hex'), hash: hash.toString('hex') } });
  }

  /** Makes an account for a program; gives its token, once. Throws as `addPerson`. */
  addProgram(name: string, role: Role): string {
    const token = unguessable();
    this.#add({ name, role, token_sha256: thumbprint(token) });
    return token;
  }

  /** Throws `DeskError` account-missing. */
  remove(name: string): void {
    const accounts = this.list();
    if (!accounts.some((account) => account.name === name)) {
      throw new DeskError('account-missing', `there is no account ${name}`, 'see: fieldseal account list');
    }
    this.#save(accounts.filter((account) => account.name !== name));
  }

  /** The account that a password proves. Takes equally long for a name that does not exist. */
  async byPassword(name: string, password: Uint8Array): Promise<Account | undefined> {
    const account = this.list().find((each) => each.name === name && each.password);
    const { salt, hash } = account?.password ?? NOBODY;
    const derived = await derive(password, Buffer.from(salt, 'hex'));
    return timingSafeEqual(derived, Buffer.from(hash, 'hex')) ? account : undefined;
  }

  /** The account that a token proves. */
  byToken(token: string): Account | undefined {
    const print = thumbprint(token);
    return this.list().find(({ token_sha256 }) => token_sha256 === print);
  }

  /** Whether an account stands as it did when it let somebody in: not removed, not made anew, in the same role. */
  stands({
    name,
    role,
    proof,
  }: {
    readonly name: string;
    readonly role: Role;
    readonly proof: string;
  }): boolean {
    return this.list().some((each) => each.name === name && each.role === role && proofOf(each) === proof);
  }

  /** Throws `DeskError` account-name, account-taken. */
  requireFree(name: string): void {
    if (!NAME.test(name)) {
      throw new DeskError(
        'account-name',
        `${name} is not a name for an account`,
        'small letters, digits and hyphens, beginning with a letter, at most 32',
      );
    }
    if (this.list().some((account) => account.name === name)) {
      throw new DeskError(
        'account-taken',
        `there is an account ${name} already`,
        `remove it first: fieldseal account remove ${name}`,
      );
    }
  }

  #add(account: Account): void {
    this.requireFree(account.name);
    this.#save([...this.list(), account]);
  }

  #save(accounts: readonly Account[]): void {
    this.#workspace.files.makeFolder(this.#workspace.path('private'), { secret: true });
    const text = `${JSON.stringify({ format: 'fieldseal.desk-accounts/1', accounts }, null, 2)}\n`;
    this.#workspace.files.replace(this.#path, text, { secret: true });
  }
}

/** What tells an account from another one of the same name: what is kept of its password or token. */
export function proofOf({ password, token_sha256 }: Account): string {
  return password?.hash ?? token_sha256 ?? '';
}

const NOBODY = { salt: '00'.repeat(SALT_LENGTH), hash: '00'.repeat(KEY_LENGTH) };

function derive(password: Uint8Array, salt: Uint8Array): Promise<Buffer> {
  return new Promise((resolve, reject) =>
    scrypt(password, salt, KEY_LENGTH, COST, (error, key) => (error ? reject(error) : resolve(key))),
  );
}

function readJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}
