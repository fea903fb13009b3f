import { setImmediate as breathe } from 'node:timers/promises';
import { listRecords, readRecord, type Workspace } from '../../workspace/index.ts';
import type { UnitRow } from '../store/types.ts';

/** Records that are read before others get their turn. */
const AT_A_TIME = 64;

/** Every unit that was provisioned, as the records have it, for `importUnits`. */
export async function* recordedUnits(workspace: Workspace): AsyncGenerator<UnitRow> {
  for (const [i, name] of listRecords(workspace, 'units').entries()) {
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
