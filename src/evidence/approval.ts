import { openRequest, requestJson, SealError } from '../release/index.ts';
import type { Json, JsonObject, Workspace } from '../workspace/index.ts';
import type { Evidence } from './schema.ts';

/** Who asked and who approved, by the release's record; and whether request and approvals still verify. */
export async function approvalOf(workspace: Workspace, facts: JsonObject): Promise<Evidence['approval']> {
  const recorded = facts.approval as JsonObject | null | undefined;
  if (!recorded) return null;
  return {
    needed: Number(recorded.needed),
    counted: Number(recorded.counted),
    requested_by: String(recorded.requested_by),
    requested: String(recorded.requested),
    request: String(recorded.request),
    request_sha256: String(recorded.request_sha256),
    holds: await stillHolds(workspace, recorded),
    approvals: (recorded.approvals as JsonObject[]).map((each) => ({
      person: text(each.person),
      approver: String(each.approver),
      fingerprint: text(each.fingerprint),
      approved: text(each.approved),
      counts: each.counts === true,
      fault: text(each.fault),
    })),
  };
}

/** Reasons that come with time, and say nothing against an approval that counted when the release was sealed. */
const LATER: readonly unknown[] = ['expired', 'by a retired key', 'withdrawn'];

async function stillHolds(workspace: Workspace, recorded: JsonObject): Promise<boolean> {
  try {
    const opened = await openRequest(workspace, String(recorded.request));
    const now = requestJson(opened).approvals as JsonObject[];
    const counted = (recorded.approvals as JsonObject[]).filter(({ counts }) => counts === true);
    return (
      opened.sha256 === recorded.request_sha256 &&
      counted.every(({ record }) => {
        const found = now.find((each) => each.record === record);
        return found !== undefined && (found.fault === null || LATER.includes(found.fault));
      })
    );
  } catch (error) {
    if (error instanceof SealError && error.code === 'request-changed') return false;
    throw error;
  }
}

function text(value: Json | undefined): string | null {
  return typeof value === 'string' ? value : null;
}
