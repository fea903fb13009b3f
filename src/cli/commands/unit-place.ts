import { resolve } from 'node:path';
import type { UnitFile } from '../../unit/index.ts';
import { type PlacedArea, placeAreas } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import type { Call } from '../spec.ts';
import { readUnitSession } from '../unit-session.ts';

/** Moves areas of a unit's flash out of its file. */
export async function run(call: Call): Promise<number> {
  const path = call.args[0]!;
  const session = await readUnitSession(call, path);
  const { file } = session;
  session.close();
  const areas = call.texts('area').map((text) => areaOf(file, text));
  requireDifferent(areas, resolve(path));
  await placeAreas(path, areas, { force: call.flag('force') });
  for (const { name, size, path: place } of areas) call.out.fact(name, `${size} B at ${place}`);
  call.out.line(`${path}.areas says so: keep it with the unit file; without it the unit starts nothing.`);
  call.out.result({ format: 'fieldseal.unit-areas/1', areas });
  return EXIT.done;
}

function areaOf({ layout }: UnitFile, text: string): PlacedArea {
  const [name, place] = [text.slice(0, text.indexOf('=')), text.slice(text.indexOf('=') + 1)];
  const region = layout.flash.regions.find((each) => each.name === name);
  if (!region || place === '') {
    const names = layout.flash.regions.map((each) => `"${each.name}"`).join(', ');
    throw wrongUse(`--area ${text}: not an area and its place`, `write NAME=PATH with one of ${names}`);
  }
  return {
    name,
    offset: layout.flashOffset + region.offset,
    size: region.size,
    path: resolve(place),
  };
}

function requireDifferent(areas: readonly PlacedArea[], unitPath: string): void {
  if (areas.some(({ path }) => path === unitPath))
    throw wrongUse('an area cannot be placed into the unit file itself', 'name a partition or another file');
  for (const [what, values] of [
    ['area', areas.map(({ name }) => name)],
    ['place', areas.map(({ path }) => path)],
  ] as const) {
    const twice = values.find((each, at) => values.indexOf(each) !== at);
    if (twice !== undefined) throw wrongUse(`the ${what} ${twice} is named twice`, `name each ${what} once`);
  }
}
