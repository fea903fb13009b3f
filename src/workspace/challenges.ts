import { toHex } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import { type JsonObject, readableJson } from './canonical.ts';
import { listRecords } from './records.ts';
import type { Workspace } from './workspace.ts';

const FORMAT = 'fieldseal.challenge/1';
const ID_DIGITS = 32;

/** A challenge that was made in this copy of a workspace. Bytes in lower-case hexadecimal. */
export interface ChallengeRecord {
  readonly class: string;
  readonly serial: string;
  readonly device_id: string;
  readonly region: { readonly name: string } | { readonly address: number; readonly size_bytes: number };
  /** RFC 3339. */
  readonly made: string;
  readonly expires: string;
}

/** What a challenge and the record of its answer are called: the beginning of SHA-256 of the nonce. */
export function challengeId(nonce: Uint8Array): string {
  return toHex(sha256(nonce)).slice(0, ID_DIGITS);
}

/**
 * Takes down a challenge that is about to be sent, in the private folder: only this copy of the workspace takes its answer,
 * so that no other one takes it a second time. The nonce itself is not kept. Throws disk trouble.
 */
export function keepChallenge(workspace: Workspace, nonce: Uint8Array, record: ChallengeRecord): void {
  workspace.files.makeFolder(workspace.path('private', 'challenges'), { secret: true });
  const facts = { format: FORMAT, ...record } as unknown as JsonObject;
  workspace.files.createNew(pathOf(workspace, nonce), readableJson(facts), { secret: true });
}

/** The challenge with that nonce, and whether an answer to it is on record. Undefined where none was made here. */
export function findChallenge(
  workspace: Workspace,
  nonce: Uint8Array,
): (ChallengeRecord & { readonly answered: boolean }) | undefined {
  const path = pathOf(workspace, nonce);
  if (!workspace.files.exists(path)) return undefined;
  const record = JSON.parse(workspace.files.readText(path)) as ChallengeRecord;
  const name = `${record.class}/${challengeId(nonce)}`;
  return { ...record, answered: listRecords(workspace, 'attestations', record.class).includes(name) };
}

function pathOf(workspace: Workspace, nonce: Uint8Array): string {
  return workspace.path('private', 'challenges', `${challengeId(nonce)}.json`);
}
