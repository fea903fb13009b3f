import { deviceId } from '../provision/index.ts';
import { formatUuid, parseUuid } from '../suit/index.ts';
import { readClass, type Workspace } from '../workspace/index.ts';
import type { Call } from './spec.ts';

/** Device identifier of the one unit that --serial names, 16 bytes. */
export async function deviceOf(
  call: Call,
  workspace: Workspace,
  className: string,
): Promise<Uint8Array | undefined> {
  const serial = call.text('serial');
  if (serial === undefined) return undefined;
  const { classIds } = await readClass(workspace, className);
  return parseUuid(deviceId({ class_ids: classIds.map(formatUuid) }, serial));
}
