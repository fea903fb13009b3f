import { equal, fromHex, toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import {
  type DeviceClass,
  isSpent,
  type JsonObject,
  jsonDigest,
  type LedgerEntry,
  readClass,
  readLedger,
  readRecord,
  type Workspace,
} from '../../workspace/index.ts';
import { SealError } from '../error.ts';
import { decodeFrozen, FrozenError, type FrozenRequest } from './frozen.ts';
import { findPerson, type Person } from './people.ts';
import { isConsistent } from './rebuild.ts';
import { readStatement, statementVerifies } from './statement.ts';

/** A sealing request, read from its frozen bytes, which its requester signed. */
export interface OpenedRequest {
  readonly workspace: Workspace;
  readonly frozen: FrozenRequest;
  readonly deviceClass: DeviceClass;
  /** The signed request as it lies in the record: what an approval signs. */
  readonly bytes: Uint8Array;
  /** Of `bytes`, hexadecimal. */
  readonly sha256: string;
  readonly requester: Person;
  readonly requested: Date;
  readonly expires: Date;
  /** Path of its record in the workspace. */
  readonly record: string;
  readonly entries: readonly LedgerEntry[];
}

const REFERENCE = /^(?:.*[/\\])?([^/\\]+)[/\\](\d{1,19})(?:\.json)?$/;

/** Class and number out of `vent/12`, or out of the path of the record. Throws `SealError` request-unknown. */
export function parseReference(text: string): { className: string; number: string } {
  const [, className, number] = REFERENCE.exec(text) ?? [];
  if (className !== undefined && number !== undefined) return { className, number: String(BigInt(number)) };
  throw new SealError(
    'request-unknown',
    `${JSON.stringify(text)} names no sealing request`,
    'name it by class and number, such as vent/12: "fieldseal request list" shows all',
  );
}

/**
 * Opens a sealing request. All that is given out is decoded from the bytes that its requester signed and that the ledger
 * holds the digest of; the manifest in them must be the one that follows from the rest under the class as it is now. Throws
 * `SealError` request-unknown, request-changed.
 */
export async function openRequest(workspace: Workspace, reference: string): Promise<OpenedRequest> {
  const { className, number } = parseReference(reference);
  const record = `requests/${className}/${number}.json`;
  if (!workspace.files.exists(workspace.path(record))) {
    const hint = 'the requests that there are: fieldseal request list';
    throw new SealError('request-unknown', `there is no sealing request ${className}/${number}`, hint);
  }
  const entries = readLedger(workspace);
  const { facts } = readRecord(workspace, 'requests', [className, number]);
  requireOnLedger(entries, record, facts, 'request-made');
  const bytes = hexOf(facts.request_hex);
  const statement = readStatement(bytes, 'request');
  const payload = statement?.message.payload;
  const requester = statement && findPerson(workspace, statement.fingerprint, entries);
  if (!statement || !payload || !requester || !statementVerifies(statement, requester.publicKey, payload)) {
    throw changed(record, 'it is not signed by a person of this workspace');
  }
  const frozen = read(payload, record);
  const deviceClass = await readClass(workspace, className);
  requireSame(workspace, deviceClass, frozen, { record, className, number });
  return {
    workspace,
    frozen,
    deviceClass,
    bytes,
    sha256: toHex(sha256(bytes)),
    requester,
    requested: statement.issued,
    expires: statement.expires,
    record,
    entries,
  };
}

/** Throws `SealError` request-changed unless an entry of that kind names the record with the digest that it has. */
export function requireOnLedger(
  entries: readonly LedgerEntry[],
  path: string,
  facts: JsonObject,
  kind: string,
): void {
  const digest = jsonDigest(facts);
  const named = entries.some(
    (entry) => entry.kind === kind && entry.facts.record === path && entry.facts.record_sha256 === digest,
  );
  if (!named) throw changed(path, 'it is not the record that the ledger names');
}

/** Bytes out of a record's hexadecimal text; none where it holds no such text. */
export function hexOf(value: unknown): Uint8Array {
  return typeof value === 'string' && /^(?:[0-9a-f]{2})+$/.test(value) ? fromHex(value) : new Uint8Array();
}

/** Where a request stands: whether it was withdrawn, and whether its number was used up. */
export function requestEnd(
  workspace: Workspace,
  request: OpenedRequest,
  entries: readonly LedgerEntry[] = readLedger(workspace),
): 'withdrawn' | 'used up' | undefined {
  const { frozen, sha256: digest } = request;
  if (isWithdrawn(request, entries)) return 'withdrawn';
  const sealed = entries.some(({ kind, facts }) => kind === 'sealed' && facts.request_sha256 === digest);
  return sealed || isSpent(workspace, frozen.className, frozen.sequenceNumber) ? 'used up' : undefined;
}

/** Whether the ledger says that a request was taken back. */
export function isWithdrawn(
  { sha256: digest }: Pick<OpenedRequest, 'sha256'>,
  entries: readonly LedgerEntry[],
): boolean {
  return entries.some(({ kind, facts }) => kind === 'request-withdrawn' && facts.request_sha256 === digest);
}

function read(payload: Uint8Array, record: string): FrozenRequest {
  try {
    return decodeFrozen(payload);
  } catch (error) {
    if (error instanceof FrozenError) throw changed(record, `it is no sealing request: ${error.message}`);
    throw error;
  }
}

function requireSame(
  workspace: Workspace,
  deviceClass: DeviceClass,
  frozen: FrozenRequest,
  { record, className, number }: { record: string; className: string; number: string },
): void {
  const here =
    frozen.workspace === workspace.lineage &&
    frozen.className === className &&
    String(frozen.sequenceNumber) === number &&
    equal(frozen.vendorId, workspace.vendorId);
  if (!here) throw changed(record, 'it was made for another workspace, class or number');
  const consistent =
    equal(frozen.classId, deviceClass.classId) &&
    (frozen.encryption === undefined) ===
      (deviceClass.confidentiality === 'none' || deviceClass.confidentiality === 'message') &&
    isConsistent(workspace, deviceClass, frozen);
  if (!consistent) {
    throw changed(
      record,
      `its manifest is not the one that follows from what it says under classes/${className}.yaml as it is now`,
    );
  }
}

function changed(record: string, why: string): SealError {
  return new SealError(
    'request-changed',
    `${record} does not hold: ${why}; nothing was signed or sealed`,
    'restore it, keys/ and classes/ from git; where that is how they are, make a new request and have it approved',
  );
}
