import {
  type JsonObject,
  jsonDigest,
  type LedgerEntry,
  listRecords,
  readLedger,
  readRecord,
  type Workspace,
} from '../../workspace/index.ts';
import { SealError } from '../error.ts';
import { hexOf, isWithdrawn, type OpenedRequest, requestEnd } from './open.ts';
import { findPerson, type Person, samePerson } from './people.ts';
import { readStatement, type Statement, statementVerifies } from './statement.ts';

/** Why an approval on file does not count. Closed list. */
export type ApprovalFault =
  | 'not on the ledger'
  | 'unreadable'
  | 'by a key that nobody here has'
  | 'by a retired key'
  | 'by a trial key'
  | 'over other bytes'
  | 'by the one who asked'
  | 'withdrawn'
  | 'expired'
  | 'by a person who approved already';

/** One approval on file, and whether it counts. */
export interface JudgedApproval {
  /** Path of its record. */
  readonly record: string;
  /** What the ledger or the record says of whose it is; unproved where there is a fault. */
  readonly approver: string;
  readonly person: string | undefined;
  readonly fingerprint: string | undefined;
  readonly approved: Date | undefined;
  readonly expires: Date | undefined;
  /** Undefined: it counts. */
  readonly fault: ApprovalFault | undefined;
}

/** How far a request has come. */
export interface ApprovalStanding {
  readonly needed: number;
  readonly approvals: readonly JudgedApproval[];
  /** How many count. */
  readonly counted: number;
}

/**
 * Judges every approval on file for a request at `at`: on the ledger, signed over the very bytes of the request by a key of
 * this workspace that is neither retired nor (in production) for trial, by somebody else than the requester, not withdrawn,
 * not expired, and each person once. The class as it is now may ask for more than when the request was made, never for less.
 */
export function standingOfRequest(
  workspace: Workspace,
  request: OpenedRequest,
  at: Date = workspace.now(),
  entries: readonly LedgerEntry[] = readLedger(workspace),
): ApprovalStanding {
  const { frozen, deviceClass } = request;
  const approvals: JudgedApproval[] = [];
  for (const record of approvalRecords(workspace, request)) {
    const { facts } = readRecord(workspace, 'requests', record.split('/'));
    const known = approvals.filter(({ fault }) => fault === undefined);
    approvals.push(judge({ workspace, request, at, entries }, `requests/${record}.json`, facts, known));
  }
  return {
    needed: Math.max(frozen.approvals, deviceClass.approvals),
    approvals,
    counted: approvals.filter(({ fault }) => fault === undefined).length,
  };
}

/** Names of the records of a request's approvals, in the order in which they were given. */
export function approvalRecords(workspace: Workspace, { frozen }: Pick<OpenedRequest, 'frozen'>): string[] {
  const prefix = `${frozen.className}/${frozen.sequenceNumber}-approval-`;
  const numberOf = (name: string) => Number(name.slice(prefix.length));
  return listRecords(workspace, 'requests', frozen.className)
    .filter((name) => name.startsWith(prefix))
    .toSorted((a, b) => numberOf(a) - numberOf(b));
}

/** Throws `SealError` unless a request may be sealed at `at`: neither ended nor expired, and approved by enough people. */
export function requireApproved(workspace: Workspace, request: OpenedRequest, at: Date): ApprovalStanding {
  requireOpen(workspace, request, at);
  return requireStanding(workspace, request, at);
}

/**
 * Throws `SealError` approvals-too-few, request-withdrawn. Asked once more when the number is used up already: whoever
 * withdraws after that finds it used up.
 */
export function requireStanding(workspace: Workspace, request: OpenedRequest, at: Date): ApprovalStanding {
  const entries = readLedger(workspace);
  if (isWithdrawn(request, entries)) throw withdrawn(request);
  const standing = standingOfRequest(workspace, request, at, entries);
  if (standing.counted >= standing.needed) return standing;
  throw new SealError(
    'approvals-too-few',
    `the sealing request ${nameOf(request)} needs ${people(standing.needed)} beside ${request.requester.person}, and has ${standing.counted}${faultsText(standing)}; nothing was sealed`,
    `have it approved: fieldseal approve ${nameOf(request)} --approver NAME`,
  );
}

/** Throws `SealError` request-withdrawn, request-used, request-expired. */
export function requireOpen(
  workspace: Workspace,
  request: OpenedRequest,
  at: Date,
  entries: readonly LedgerEntry[] = readLedger(workspace),
): void {
  const end = requestEnd(workspace, request, entries);
  const again = 'make a new request and have it approved';
  const name = nameOf(request);
  if (end === 'withdrawn') throw withdrawn(request);
  if (end === 'used up') {
    const says = `the sealing request ${name} was used up: it was sealed, or sealing it was begun and broken off`;
    throw new SealError('request-used', says, again);
  }
  if (at < request.expires) return;
  const says = `the sealing request ${name} expired on ${request.expires.toISOString()}`;
  throw new SealError('request-expired', says, again);
}

function withdrawn(request: OpenedRequest): SealError {
  const says = `the sealing request ${nameOf(request)} was withdrawn`;
  return new SealError('request-withdrawn', says, 'make a new request and have it approved');
}

/** Class and number, as people write it. */
export function nameOf({ frozen }: Pick<OpenedRequest, 'frozen'>): string {
  return `${frozen.className}/${frozen.sequenceNumber}`;
}

function people(count: number): string {
  return count === 1 ? 'the approval of one person' : `the approvals of ${count} people`;
}

function faultsText({ approvals }: ApprovalStanding): string {
  const faulty = approvals.filter(({ fault }) => fault !== undefined);
  return faulty.map(({ approver, fault }) => `; that of ${approver} does not count: ${fault}`).join('');
}

interface Judging {
  readonly workspace: Workspace;
  readonly request: OpenedRequest;
  readonly at: Date;
  readonly entries: readonly LedgerEntry[];
}

function judge(
  judging: Judging,
  record: string,
  facts: JsonObject,
  known: readonly JudgedApproval[],
): JudgedApproval {
  const { workspace, entries } = judging;
  const statement = readStatement(hexOf(facts.approval_hex), 'approval');
  const person = statement && findPerson(workspace, statement.fingerprint, entries);
  const judged = {
    record,
    approver: person?.name ?? String(facts.approver),
    person: person?.person,
    fingerprint: person?.fingerprint,
    approved: statement?.issued,
    expires: statement?.expires,
  };
  return { ...judged, fault: faultOf(judging, { record, facts, statement, person, known }) };
}

interface Given {
  readonly record: string;
  readonly facts: JsonObject;
  readonly statement: Statement | undefined;
  readonly person: Person | undefined;
  readonly known: readonly JudgedApproval[];
}

function faultOf(
  { workspace, request, at, entries }: Judging,
  { record, facts, statement, person, known }: Given,
): ApprovalFault | undefined {
  const names = (kind: string) => (entry: LedgerEntry) =>
    entry.kind === kind && entry.facts.record === record;
  const digest = jsonDigest(facts);
  if (!entries.some((entry) => names('approved')(entry) && entry.facts.record_sha256 === digest))
    return 'not on the ledger';
  if (!statement) return 'unreadable';
  if (!person) return 'by a key that nobody here has';
  if (person.retired) return 'by a retired key';
  if (person.trial && workspace.kind === 'production') return 'by a trial key';
  if (!statementVerifies(statement, person.publicKey, request.bytes)) return 'over other bytes';
  if (isRequester(request, person)) return 'by the one who asked';
  if (entries.some(({ kind, facts: said }) => kind === 'approval-withdrawn' && said.approval === record))
    return 'withdrawn';
  if (at >= statement.expires) return 'expired';
  return known.some((other) => samePerson(other.person!, person.person))
    ? 'by a person who approved already'
    : undefined;
}

/** Whether a person is the one who asked: by the same key, or by another key of theirs. */
export function isRequester(
  { requester }: Pick<OpenedRequest, 'requester'>,
  { fingerprint, person }: Pick<Person, 'fingerprint' | 'person'>,
): boolean {
  return requester.fingerprint === fingerprint || samePerson(requester.person, person);
}

/** The standing, for programs. */
export function standingJson({ needed, counted, approvals }: ApprovalStanding): JsonObject {
  return {
    needed,
    counted,
    approvals: approvals.map((each) => ({
      approver: each.approver,
      person: each.person ?? null,
      fingerprint: each.fingerprint ?? null,
      approved: each.approved?.toISOString() ?? null,
      expires: each.expires?.toISOString() ?? null,
      counts: each.fault === undefined,
      fault: each.fault ?? null,
      record: each.record,
    })),
  };
}
