/** A session with a token: found by label, logged in, serialised, renewed after a failed operation. */
import type { Handle, Template, TokenInfo } from 'pkcs11js';
import { toUtf8 } from '../../bytes/index.ts';
import { KeyError } from '../error.ts';
import { type PinRequest, type SecretSource, withSecret } from '../secrets.ts';
import { type AttributeName, CK, CKA, TOKEN_FLAG } from './constants.ts';
import { tokenFailure } from './failure.ts';
import { answerOf, type Cryptoki } from './module.ts';
import type { TokenUri } from './uri.ts';

/** Values of a template by attribute name. */
export type Attributes = Partial<Record<AttributeName, boolean | number | string | Uint8Array>>;

/** Who opens a session, and for what. */
export interface SessionRequest {
  readonly uri: TokenUri;
  readonly secrets: SecretSource;
  readonly role?: PinRequest['role'];
}

export class TokenSession {
  readonly label: string;
  #handle: Handle;
  #pin: Uint8Array | undefined;
  #generation = 0;
  #queue: Promise<unknown> = Promise.resolve();
  #closed = false;

  private constructor(
    readonly cryptoki: Cryptoki,
    readonly slot: Handle,
    private readonly role: PinRequest['role'],
  ) {
    this.label = labelOf(cryptoki.C_GetTokenInfo(slot));
    this.#handle = this.#open();
  }

  /**
   * Finds the token, opens a session and logs in. Throws `KeyError` token-absent, token-ambiguous,
   * pin-missing, pin-wrong, pin-locked, pin-last-try, token-failed.
   */
  static async open(cryptoki: Cryptoki, request: SessionRequest): Promise<TokenSession> {
    const { uri, secrets, role = 'user' } = request;
    const slot = findSlot(cryptoki, uri);
    const session = new TokenSession(cryptoki, slot, role);
    try {
      await session.#askAndLogIn(secrets);
      return session;
    } catch (error) {
      session.close();
      throw error;
    }
  }

  /** Facts about token and module, for a ceremony record. */
  facts(): Record<string, string> {
    const token = this.attempt(() => this.cryptoki.C_GetTokenInfo(this.slot));
    const module = this.attempt(() => this.cryptoki.C_GetInfo());
    return {
      token_label: labelOf(token),
      token_serial: token.serialNumber.trim(),
      token_model: token.model.trim(),
      token_manufacturer: token.manufacturerID.trim(),
      token_firmware: versionText(token.firmwareVersion),
      module: `${module.libraryDescription.trim()} ${versionText(module.libraryVersion)}`,
      module_manufacturer: module.manufacturerID.trim(),
    };
  }

  /** Changes whenever the session was renewed: handles found before are void then. */
  get generation(): number {
    return this.#generation;
  }

  /** Runs calls to the module, with their failures in plain words. */
  attempt<T>(work: (session: Handle) => T): T {
    try {
      return work(this.#handle);
    } catch (error) {
      throw tokenFailure(error, this.label);
    }
  }

  /** Handles of the objects that match. */
  find(match: Attributes): Handle[] {
    return this.attempt((session) => {
      this.cryptoki.C_FindObjectsInit(session, templateOf(match));
      try {
        return this.cryptoki.C_FindObjects(session, 16);
      } finally {
        this.cryptoki.C_FindObjectsFinal(session);
      }
    });
  }

  /** One attribute's bytes, or undefined where the token does not know it. Sensitive values are a failure. */
  read(object: Handle, name: AttributeName): Uint8Array | undefined {
    try {
      const [found] = this.cryptoki.C_GetAttributeValue(this.#handle, object, [{ type: CKA[name] }]);
      return found?.value instanceof Uint8Array ? new Uint8Array(found.value) : undefined;
    } catch (error) {
      if (answerOf(error) === 'CKR_ATTRIBUTE_TYPE_INVALID') return undefined;
      throw tokenFailure(error, this.label);
    }
  }

  /**
   * A signature or MAC made by the token, `length` bytes. One runs at a time; after a failure the session is
   * renewed, because the failed operation may still stand open in it (PKCS#11 v3.2 section 5.1.1).
   */
  sign(key: () => Handle, mechanism: number, data: Uint8Array, length: number): Promise<Uint8Array> {
    return this.#inTurn(async () => {
      try {
        const handle = key();
        const pinEachTime = this.read(handle, 'CKA_ALWAYS_AUTHENTICATE')?.[0] === 1;
        this.cryptoki.C_SignInit(this.#handle, { mechanism }, handle);
        if (pinEachTime) this.#login(CK.userContextSpecific);
        const made = await this.cryptoki.C_SignAsync(this.#handle, bufferOf(data), Buffer.alloc(length));
        return new Uint8Array(made);
      } catch (error) {
        this.#renew();
        throw tokenFailure(error, this.label);
      }
    });
  }

  /** Ends the session and forgets the PIN. */
  close(): void {
    this.#closed = true;
    this.#pin?.fill(0);
    this.#pin = undefined;
    this.#closeQuietly(this.#handle);
  }

  #open(): Handle {
    try {
      return this.cryptoki.C_OpenSession(this.slot, CK.sessionSerial | CK.sessionReadWrite);
    } catch (error) {
      throw tokenFailure(error, this.label);
    }
  }

  // The new session opens first: closing the last one of a token would log out.
  #renew(): void {
    if (this.#closed) return;
    const old = this.#handle;
    try {
      this.#handle = this.#open();
      this.#generation++;
      this.#login(this.role === 'user' ? CK.userNormal : CK.userOfficer);
    } catch {
      // The token is gone: the failure that led here says so, and the next use will.
    }
    if (this.#handle !== old) this.#closeQuietly(old);
  }

  async #askAndLogIn(secrets: SecretSource): Promise<void> {
    const { flags } = this.attempt(() => this.cryptoki.C_GetTokenInfo(this.slot));
    const officer = this.role === 'security-officer';
    if (!officer && (flags & TOKEN_FLAG.loginRequired) === 0) return;
    if (flags & (officer ? TOKEN_FLAG.officerPinLocked : TOKEN_FLAG.userPinLocked)) {
      throw tokenFailure(new Error('CKR_PIN_LOCKED'), this.label);
    }
    if ((flags & TOKEN_FLAG.protectedPath) === 0) {
      const lastTry = (flags & (officer ? TOKEN_FLAG.officerPinFinalTry : TOKEN_FLAG.userPinFinalTry)) !== 0;
      const request = { token: this.label, role: this.role, lastTry };
      await withSecret(secrets.pin(request), (pin) => {
        this.#pin = new Uint8Array(pin);
      });
    }
    this.attempt(() => this.#login(officer ? CK.userOfficer : CK.userNormal));
  }

  // Without a PIN the token asks for it at its own keypad.
  #login(user: number): void {
    try {
      this.cryptoki.C_Login(this.#handle, user, this.#pin && toUtf8(this.#pin));
    } catch (error) {
      if (answerOf(error) !== 'CKR_USER_ALREADY_LOGGED_IN') throw error;
    }
  }

  #inTurn<T>(work: () => Promise<T>): Promise<T> {
    const turn = this.#queue.then(work);
    this.#queue = turn.catch(() => {});
    return turn;
  }

  #closeQuietly(handle: Handle): void {
    try {
      this.cryptoki.C_CloseSession(handle);
    } catch (error) {
      if (!answerOf(error)) throw error;
    }
  }
}

/** A template as the addon takes it. */
export function templateOf(attributes: Attributes): Template {
  return Object.entries(attributes).map(([name, value]) => ({
    type: CKA[name as AttributeName],
    value: value instanceof Uint8Array ? Buffer.from(value) : value,
  }));
}

// A copy with a byte to spare: modules refuse the null pointer that an empty buffer is handed over as.
function bufferOf(data: Uint8Array): Buffer {
  const buffer = Buffer.alloc(data.length + 1);
  buffer.set(data);
  return buffer.subarray(0, data.length);
}

function findSlot(cryptoki: Cryptoki, uri: TokenUri): Handle {
  const present = tokensPresent(cryptoki);
  const matching = present.filter(({ info }) => isNamed(info, uri));
  if (matching.length === 1) return matching[0]!.slot;
  if (matching.length > 1) {
    const serials = matching.map(({ info }) => info.serialNumber.trim()).join(', ');
    throw new KeyError(
      'token-ambiguous',
      `${matching.length} tokens bear the label ${uri.token} (serial numbers ${serials}).`,
      'Add ;serial=NUMBER to the pkcs11: URI.',
    );
  }
  const labels = present.map(({ info }) => labelOf(info)).join(', ') || 'none';
  throw new KeyError(
    'token-absent',
    `No token with the label ${uri.token} is there; tokens present: ${labels}.`,
    'Plug the token in, check the label in the pkcs11: URI, and that the module is the one for this token.',
  );
}

function isNamed(info: TokenInfo, { token, serial, model, manufacturer }: TokenUri): boolean {
  return (
    labelOf(info) === token &&
    (!serial || serial === info.serialNumber.trim()) &&
    (!model || model === info.model.trim()) &&
    (!manufacturer || manufacturer === info.manufacturerID.trim())
  );
}

function tokensPresent(cryptoki: Cryptoki): { slot: Handle; info: TokenInfo }[] {
  try {
    return cryptoki.C_GetSlotList(true).flatMap((slot) => tokenIn(cryptoki, slot));
  } catch (error) {
    throw tokenFailure(error, '(any)');
  }
}

// A slot may hold a card that is no token of this module; it must not hide the others.
function tokenIn(cryptoki: Cryptoki, slot: Handle): { slot: Handle; info: TokenInfo }[] {
  try {
    const info = cryptoki.C_GetTokenInfo(slot);
    return info.flags & TOKEN_FLAG.initialized ? [{ slot, info }] : [];
  } catch (error) {
    if (!answerOf(error)) throw error;
    return [];
  }
}

function labelOf(info: TokenInfo): string {
  return info.label.trimEnd();
}

function versionText(version: { major: number; minor: number }): string {
  return `${version.major}.${version.minor}`;
}
