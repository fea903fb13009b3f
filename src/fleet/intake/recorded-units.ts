import { setImmediate as breathe } from 'node:timers/promises';
import { listRecords, readRecord, type Workspace } from '../../workspace/index.ts';
import type { UnitRow } from '../store/types.ts';

/** Records that are read before others get their turn. */
const AT_A_TIME = 64;

/** Units that were provisioned, as their records have it, for `importUnits`: those named, or every one. */
export async function* recordedUnits(
  workspace: Workspace,
  names: readonly string[] = listRecords(workspace, 'units'),
): AsyncGenerator<UnitRow> {
  for (const [i, name] of names.entries()) {
    if (i % AT_A_TIME === 0) await breathe();
    const { facts } = readRecord(workspace, 'units', name.split('/'));
    const classIds = facts.class_ids as string[];
    yield {
      classId: bare(classIds.at(-1)!),
      device: bare(String(facts.device_id)),
      serial: String(facts.serial),
      group: String(facts.batch),
    };
  }
}

/** Digits of an identifier, as the store has them. */
export function bare(uuid: string): string {
  return uuid.replaceAll('-', '');
}
