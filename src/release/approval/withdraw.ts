import { appendEntry, isSpent, type Workspace } from '../../workspace/index.ts';
import { SealError } from '../error.ts';
import { openRequest } from './open.ts';
import { nameOf, requireOpen, standingOfRequest } from './standing.ts';

/** What was taken back. */
export interface Withdrawn {
  readonly request: string;
  /** Paths of the approvals that no longer count; empty where the request itself was withdrawn. */
  readonly approvals: readonly string[];
  /** Sealing had begun when the entry was written: look whether it went through. */
  readonly tooLate: boolean;
}

/**
 * Takes back a request, or the approvals that one key gave to it. The entry in the ledger comes first; a seal that begins
 * after it sees it, and one that began before it is told by `tooLate`. Throws `SealError` request-..., approval-unknown.
 */
export async function withdraw(
  workspace: Workspace,
  reference: string,
  { approver, reason }: { approver?: string | undefined; reason: string },
): Promise<Withdrawn> {
  const opened = await openRequest(workspace, reference);
  const at = workspace.now();
  requireOpen(workspace, opened, at);
  const { className, sequenceNumber } = opened.frozen;
  const facts = {
    class: className,
    sequence_number: String(sequenceNumber),
    request_sha256: opened.sha256,
    reason,
  };
  const approvals: string[] = [];
  if (approver === undefined) appendEntry(workspace, 'request-withdrawn', facts);
  else {
    const given = standingOfRequest(workspace, opened, at).approvals.filter(
      (each) => each.approver === approver && each.fault === undefined,
    );
    if (given.length === 0) {
      throw new SealError(
        'approval-unknown',
        `${approver} has given no approval to ${nameOf(opened)} that counts; nothing was withdrawn`,
        `see who has: fieldseal request show ${nameOf(opened)}`,
      );
    }
    for (const { record } of given) {
      appendEntry(workspace, 'approval-withdrawn', { ...facts, approver, approval: record });
      approvals.push(record);
    }
  }
  return { request: nameOf(opened), approvals, tooLate: isSpent(workspace, className, sequenceNumber) };
}
