import type { UnitQuery, UnitState } from '../../fleet/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { type FleetDesk, withFleet } from '../fleet.ts';
import { unitJson, unitLine } from '../show-fleet.ts';
import type { Call } from '../spec.ts';

const HOUR = 3_600_000;

/** Looks for units. */
export function run(call: Call): Promise<number> {
  return withFleet(call, async (desk) => {
    const { items, next } = await desk.store.search(queryOf(call, desk));
    for (const unit of items) call.out.line(unitLine(unit, desk));
    if (items.length === 0) call.out.line('no unit is like that');
    if (next !== undefined) call.out.line(`more: --after ${next}`);
    const units = items.map((unit) => unitJson(unit, desk));
    call.out.result({ format: 'fieldseal.fleet-found/1', units, next: next ?? null });
    return EXIT.done;
  });
}

function queryOf(call: Call, { classIds }: FleetDesk): UnitQuery {
  const className = call.text('class');
  const classId = className === undefined ? undefined : classIds.get(className);
  if (className !== undefined && classId === undefined)
    throw wrongUse(
      `this workspace has no class ${className}`,
      `its classes are ${[...classIds.keys()].join(', ')}`,
    );
  const broadcast = call.count('broadcast');
  const number = call.count('wave');
  if (number !== undefined && broadcast === undefined)
    throw wrongUse('--wave needs --broadcast', 'for example --broadcast 3 --wave 1');
  const hours = call.count('silent-hours');
  return {
    classId,
    state: call.text('state') as UnitState | undefined,
    wave: broadcast === undefined ? undefined : { broadcast, number },
    text: call.text('text'),
    version: call.text('version'),
    refusal: call.text('refusal'),
    silentSince: hours === undefined ? undefined : new Date(Date.now() - hours * HOUR),
    after: call.text('after'),
    limit: call.count('limit'),
  };
}
