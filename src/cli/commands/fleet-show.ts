import type { FleetUnit } from '../../fleet/index.ts';
import { CommandFailure, EXIT, wrongUse } from '../exit.ts';
import { type FleetDesk, withFleet } from '../fleet.ts';
import { entryJson, entryLine, showUnit, unitJson, unitLine } from '../show-fleet.ts';
import type { Call } from '../spec.ts';

const USUAL = 20;
const DEVICE = /^[0-9a-f]{8}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{12}$/;

/** Shows one unit and its history. */
export function run(call: Call): Promise<number> {
  return withFleet(call, async (desk) => {
    const unit = await theUnit(call, desk);
    const limit = call.count('limit') ?? USUAL;
    const { items, next } = await desk.store.history(unit, { limit, after: call.text('after') });
    showUnit(call.out, unit, desk);
    call.out.line('history, newest first:');
    if (items.length === 0) call.out.line('  nothing');
    for (const entry of items) call.out.line(`  ${entryLine(entry)}`);
    if (next !== undefined) call.out.line(`  more: --after ${next}`);
    const history = items.map(entryJson);
    call.out.result({
      format: 'fieldseal.fleet-unit/1',
      ...unitJson(unit, desk),
      history,
      next: next ?? null,
    });
    return EXIT.done;
  });
}

/** The unit that a serial number or a device identifier names, and no other. */
async function theUnit(call: Call, desk: FleetDesk): Promise<FleetUnit> {
  const name = call.args[0]!;
  const text = DEVICE.test(name) ? name.replaceAll('-', '') : name;
  const className = call.text('class');
  const classId = className === undefined ? undefined : desk.classIds.get(className);
  if (className !== undefined && classId === undefined)
    throw wrongUse(
      `this workspace has no class ${className}`,
      `its classes are ${[...desk.classIds.keys()].join(', ')}`,
    );
  const { items } = await desk.store.search({ text, classId });
  const found = items.filter(({ serial, device }) => serial === name || device === text);
  const [unit] = found;
  if (unit && found.length === 1) return unit;
  if (unit)
    throw wrongUse(
      `several units are called ${name}: ${found.map((each) => unitLine(each, desk)).join('; ')}`,
      'say which with --class, or name its device identifier',
    );
  throw new CommandFailure(
    EXIT.wrongUse,
    'unit-unknown',
    `no unit of the fleet is called ${name}`,
    'look for it: fieldseal fleet find --text BEGINNING',
  );
}
