import { type ByteSource, toHex } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import { isMessage, UNIT_LIMITS } from '../unit/index.ts';
import { type JsonObject, listReleases, readLedger, readRecord, type Workspace } from '../workspace/index.ts';

/** Something that cannot be rehearsed, with the exit status of a command. */
export class RehearsalError extends Error {
  override readonly name = 'RehearsalError';
  readonly code = 'rehearsal-message';
  readonly status = 2;

  constructor(
    message: string,
    readonly hint: string,
  ) {
    super(message);
  }
}

/**
 * Refuses a message that was encrypted for sending: forgeries and comparisons are made from the envelope in it, which nobody reads here
 * without a unit's key. `workspace`: whose ledger says which envelope that was, where there is one. Throws `RehearsalError`.
 */
export function requireEnvelope(given: ByteSource, name: string, workspace: Workspace | undefined): void {
  if (!isMessage(given)) return;
  const inside = workspace && given.size <= UNIT_LIMITS.messageBytes.value && envelopeIn(given, workspace);
  throw new RehearsalError(
    `${name} is an encrypted message and no envelope; forgeries are made, and units compared, from the envelope that it carries, so nothing was rehearsed`,
    `rehearse ${inside || 'the envelope that the message was made of'} in its place, with the same options; units judge that one once they have decrypted the message. Whether a unit takes the message itself: fieldseal check ${name} --unit FILE`,
  );
}

/** The envelope that a message was made of, in words, by ledger and records. */
function envelopeIn(message: ByteSource, workspace: Workspace): string | undefined {
  const digest = toHex(sha256(message.read(0, message.size)));
  const made = readLedger(workspace).findLast(
    ({ kind, facts }) => kind === 'message-encrypted' && facts.message_sha256 === digest,
  )?.facts;
  if (!made) return undefined;
  for (const release of listReleases(workspace, String(made.class))) {
    const { envelope } = readRecord(workspace, 'releases', release.split('/')).facts as {
      envelope: JsonObject;
    };
    if (envelope.sha256 === made.envelope_sha256) return `${envelope.file} (release ${release})`;
  }
  return `the envelope with SHA-256 ${made.envelope_sha256}`;
}
