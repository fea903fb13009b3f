import { type InventoryMistake, inventoryRows, recordedUnits } from '../../fleet/index.ts';
import { classesOf, columnsFromText, OWN_NAMES, openInventory } from '../../rehearsal/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { type FleetDesk, withFleet } from '../fleet.ts';
import type { Call } from '../spec.ts';

const SHOWN = 10;

/** Enters units of an inventory, or those that were provisioned here. */
export function run(call: Call): Promise<number> {
  return withFleet(call, async (desk) => {
    const mistakes: InventoryMistake[] = [];
    let untaken = 0;
    const rows = await rowsOf(call, desk, (mistake) => {
      untaken += 1;
      if (mistakes.length < SHOWN) mistakes.push(mistake);
    });
    const { added, changed, same } = await desk.store.importUnits(rows);
    call.out.line(`${added} units added, ${changed} changed, ${same} as before`);
    for (const { line, fact, expected, found } of mistakes)
      call.out.caution(`line ${line}: ${fact}: expected ${expected}, found ${found}; this unit was left out`);
    if (untaken > mistakes.length) call.out.caution(`${untaken} units were left out in all`);
    call.out.result({
      format: 'fieldseal.fleet-imported/1',
      added,
      changed,
      same,
      left_out: untaken,
      mistakes,
    });
    return untaken === 0 ? EXIT.done : EXIT.incomplete;
  });
}

async function rowsOf(
  call: Call,
  { workspace, classIds }: FleetDesk,
  mistake: (mistake: InventoryMistake) => void,
) {
  const [file] = call.args;
  const columns = call.text('columns');
  if (file === undefined) {
    if (columns === undefined) return recordedUnits(workspace);
    throw wrongUse('--columns describes an inventory, and none is named', 'name the file');
  }
  const given =
    columns === undefined ? OWN_NAMES : await columnsFromText(workspace.files.readText(columns), columns);
  const inventory = openInventory(file, given, (done, total) => call.out.progress('importing', done, total));
  return inventoryRows(inventory.units, await classesOf(workspace), classIds, mistake);
}
