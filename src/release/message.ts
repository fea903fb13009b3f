import { toHex } from '../bytes/index.ts';
import { decodeCose, encryptMessage, type MacKey } from '../cose/index.ts';
import { sha256 } from '../crypto/index.ts';
import { ALL_EXTENSIONS, openEnvelope, SuitError } from '../suit/index.ts';
import { messageAlgorithm, UNIT_LIMITS } from '../unit/index.ts';
import {
  appendEntry,
  type DeviceClass,
  fileSource,
  type JsonObject,
  leavesJson,
  readClass,
} from '../workspace/index.ts';
import { closeSealer, leavesUsed, openSender, type Sealer, signatureHeaders } from './blocks.ts';
import { SealError } from './error.ts';
import { openRecipients, weightJson } from './recipients.ts';
import type { SealRequest } from './request.ts';

/** What an envelope is, as messages name it (IANA media type of draft-ietf-suit-manifest section 11). */
const MEDIA_TYPE = 'application/suit-envelope+cose';
/** An envelope to be encrypted for sending. */
export interface MessageRequest
  extends Pick<
    SealRequest,
    'workspace' | 'className' | 'out' | 'force' | 'deviceId' | 'secrets' | 'module' | 'growing'
  > {
  /** Signer to use; without it the only one that covers the class. */
  readonly signer?: string | undefined;
  /** Path of the envelope. */
  readonly envelope: string;
  /** Whose MAC key vouches for it, where the class has keys for cohorts. */
  readonly cohort?: string | undefined;
}

/**
 * Encrypts a whole envelope for sending, and signs or MACs the result: who reads along learns neither version nor target,
 * and a unit judges the signature or MAC before it decrypts. Enters it in the ledger before the file gets its name. Throws
 * `SealError`, `KeyError`, `WorkspaceError`.
 */
export async function encryptEnvelope(request: MessageRequest): Promise<JsonObject> {
  const deviceClass = await readClass(request.workspace, request.className);
  requireMessages(deviceClass);
  const plaintext = readEnvelope(request.envelope);
  const sealer = await openSender(request, deviceClass);
  try {
    const recipients = await openRecipients(request, deviceClass);
    try {
      const algorithm = messageAlgorithm(deviceClass.profile.content);
      const message = await encryptMessage({
        plaintext,
        contentType: MEDIA_TYPE,
        encryption: { recipients: recipients.all, algorithm },
        ...authenticatorOf(sealer, request),
      });
      return write(request, message, {
        format: 'fieldseal.message/1',
        trial: request.workspace.kind === 'trial',
        class: deviceClass.name,
        envelope_sha256: toHex(sha256(plaintext)),
        sent_by: senderOf(sealer, request),
        encryption: { algorithm: algorithm.name, recipients: weightJson(recipients.weight) },
        leaves: leavesJson(leavesUsed(sealer, [message])),
      });
    } finally {
      recipients.close();
    }
  } finally {
    closeSealer(sealer);
  }
}

function requireMessages({ name, confidentiality }: DeviceClass): void {
  if (confidentiality === 'message' || confidentiality === 'both') return;
  throw new SealError(
    'recipients-none',
    `messages of the class ${name} are not encrypted`,
    `set confidentiality: message (or both) in classes/${name}.yaml; units provisioned before may hold no key for it`,
  );
}

function readEnvelope(path: string): Uint8Array {
  const source = fileSource(path);
  try {
    if (source.size > UNIT_LIMITS.messageBytes.value)
      throw notSendable(
        path,
        `it has ${source.size} bytes; at most ${UNIT_LIMITS.messageBytes.value} are taken`,
      );
    openEnvelope(source, undefined, ALL_EXTENSIONS);
    return new Uint8Array(source.read(0, source.size));
  } catch (error) {
    throw error instanceof SuitError ? notSendable(path, error.message) : error;
  } finally {
    source.close();
  }
}

function notSendable(path: string, why: string): SealError {
  const hint = 'give an envelope that seal made; a large image goes beside it: seal --detached';
  return new SealError('message-wrong', `${path} cannot be sent encrypted: ${why}`, hint);
}

function authenticatorOf(sealer: Sealer, request: MessageRequest) {
  return sealer.kind === 'signature'
    ? { authenticator: sealer.hands[0]!.key, ...signatureHeaders(sealer.hands[0]!.chosen) }
    : { authenticator: macKeyOf(sealer, request).key as MacKey };
}

function senderOf(sealer: Sealer, request: MessageRequest): string {
  return sealer.kind === 'signature'
    ? sealer.hands[0]!.chosen.description.name
    : macKeyOf(sealer, request).classKey.description.name;
}

/** A COSE_Mac0 has one MAC: that of the class, or of the one cohort that the message goes to. */
function macKeyOf({ keys }: Sealer & { kind: 'mac' }, { cohort, className }: MessageRequest) {
  const fitting = keys.filter(({ classKey }) => classKey.cohort === cohort);
  const [key] = fitting.length === 0 && cohort === undefined && keys.length === 1 ? keys : fitting;
  if (key) return key;
  throw new SealError(
    'mac-key-none',
    `class ${className} has no MAC key for ${cohort === undefined ? 'the whole class' : `the cohort ${cohort}`}`,
    'a message bears one MAC: name the cohort that it goes to with --cohort, and make one for each',
  );
}

function write(request: MessageRequest, message: Uint8Array, facts: JsonObject): JsonObject {
  const { workspace, out, force } = request;
  const output = workspace.files.beginOutput(out, { force: force ?? false });
  try {
    output.write(message);
    output.settle();
    decodeCose(message);
    const digest = toHex(sha256(message));
    const { format: _, encryption: __, ...entry } = facts;
    appendEntry(workspace, 'message-encrypted', { ...entry, message_sha256: digest });
    output.commit();
    return { ...facts, message: { file: out, size_bytes: message.length, sha256: digest } };
  } finally {
    output.abandon();
  }
}
