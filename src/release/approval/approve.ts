import { toHex } from '../../bytes/index.ts';
import { type JsonObject, writeRecord } from '../../workspace/index.ts';
import { SealError } from '../error.ts';
import type { KeyRequest } from '../request.ts';
import { openPersonKey, requireOwnKey } from './freeze.ts';
import { type OpenedRequest, openRequest } from './open.ts';
import type { Person } from './people.ts';
import { approvalRecords, isRequester, nameOf, requireOpen, standingOfRequest } from './standing.ts';
import { signStatement, type Term } from './statement.ts';

const DAY = 86_400_000;

/** An approval to be given. */
export interface ApproveRequest extends KeyRequest {
  /** Class and number, or the path of the record. */
  readonly request: string;
  /** The approver's key. */
  readonly approver: string;
  /** Days for which the approval holds; never longer than the request. */
  readonly days?: number | undefined;
  /** Beginning of the image's SHA-256, hexadecimal, from the build itself: nothing is signed for another image. */
  readonly imageDigest?: string | undefined;
  /** Shown what is approved before the key's passphrase or PIN is asked for. */
  show?(request: OpenedRequest): void;
}

/**
 * Approves a sealing request: a COSE_Sign1 over its signed bytes, with a content type of its own. Refused to the one who
 * asked, by whichever key, and to whoever approved already. Throws `SealError`, `KeyError`, `WorkspaceError`.
 */
export async function approve(order: ApproveRequest): Promise<{ opened: OpenedRequest; record: string }> {
  const { workspace } = order;
  const opened = await openRequest(workspace, order.request);
  const issued = workspace.now();
  requireOpen(workspace, opened, issued);
  const person = requireOwnKey(order, order.approver);
  requireOther(order, opened, person, issued);
  order.show?.(opened);
  requireDigest(opened, order.imageDigest);
  const key = await openPersonKey(order, person);
  try {
    const term = { issued, expires: endOf(opened, issued, order.days) };
    const bytes = await signStatement(key, 'approval', opened.bytes, term);
    return { opened, record: record(order, opened, person, bytes, term) };
  } finally {
    key.close();
  }
}

function requireDigest({ frozen }: OpenedRequest, wanted: string | undefined): void {
  if (wanted === undefined || frozen.images.some(({ digest }) => toHex(digest).startsWith(wanted))) return;
  throw new SealError(
    'not-as-requested',
    `the request is for another image: none in it has the digest ${wanted}; nothing was signed`,
    'ask whoever made the build and whoever made the request; until that is clear, approve nothing',
  );
}

function requireOther({ workspace }: ApproveRequest, opened: OpenedRequest, person: Person, at: Date): void {
  if (isRequester(opened, person)) {
    throw new SealError(
      'approval-own',
      `${opened.requester.person} asked for ${nameOf(opened)} and cannot approve it, by this key or another; nothing was signed`,
      'have somebody else approve it',
    );
  }
  const { approvals } = standingOfRequest(workspace, opened, at);
  const again = approvals.find(
    ({ fingerprint, fault }) => fingerprint === person.fingerprint && fault === undefined,
  );
  if (!again) return;
  throw new SealError(
    'approved-already',
    `${person.person} has approved ${nameOf(opened)} already, and a person counts once; nothing was signed`,
    'have somebody else approve it where more approvals are needed',
  );
}

function endOf({ expires }: OpenedRequest, issued: Date, days: number | undefined): Date {
  if (days === undefined) return expires;
  if (days >= 1) return new Date(Math.min(expires.getTime(), issued.getTime() + days * DAY));
  throw new SealError('request-days', 'an approval holds for at least one day', 'leave --days out');
}

function record(
  { workspace }: ApproveRequest,
  opened: OpenedRequest,
  { name, person, fingerprint }: Person,
  bytes: Uint8Array,
  { issued, expires }: Term,
): string {
  const { className, sequenceNumber } = opened.frozen;
  const number = 1 + Number(/\d+$/.exec(approvalRecords(workspace, opened).at(-1) ?? '0'));
  const common: JsonObject = {
    class: className,
    sequence_number: String(sequenceNumber),
    request_sha256: opened.sha256,
    approver: name,
    person,
    key_fingerprint: fingerprint,
  };
  return writeRecord(workspace, {
    folder: 'requests',
    name: [className, `${sequenceNumber}-approval-${number}`],
    kind: 'approved',
    facts: {
      format: 'fieldseal.approval/1',
      ...common,
      approved: issued.toISOString(),
      expires: expires.toISOString(),
      approval_hex: toHex(bytes),
    },
    summary: common,
  }).path;
}
