import { EXIT } from '../exit.ts';
import { bootEntryJson, showBootEntry } from '../show-boot.ts';
import type { Call } from '../spec.ts';
import { readUnitSession } from '../unit-session.ts';

/** Shows the boot log of a unit, newest first. */
export async function run(call: Call): Promise<number> {
  const session = await readUnitSession(call, call.args[0]!);
  try {
    const { unit } = session;
    const { record } = unit;
    const entries = unit.boots();
    call.out.line(`unit ${record.serial} (${record.class_name})${record.trial ? '  [TRIAL unit]' : ''}`);
    for (const entry of entries) showBootEntry(call.out, entry, record);
    if (!unit.layout.bootLog)
      call.out.line('  this unit keeps no boot log: its memory map has no area for one');
    else if (entries.length === 0) call.out.line('  it was never started');
    call.out.result({
      format: 'fieldseal.boots/1',
      serial: record.serial,
      class: record.class_name,
      kept: unit.layout.bootLog !== undefined,
      boots: entries.map((entry) => bootEntryJson(entry, record)),
    });
    return EXIT.done;
  } finally {
    session.close();
  }
}
