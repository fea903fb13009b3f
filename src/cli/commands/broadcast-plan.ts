import { toHex } from '../../bytes/index.ts';
import { randomBytes } from '../../crypto/index.ts';
import {
  type BroadcastPlan,
  type FleetStore,
  planFromText,
  planYaml,
  previewOf,
  recordedUnits,
} from '../../fleet/index.ts';
import { type DeviceClass, filesOn, readClass } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openFleetOf } from '../fleet.ts';
import { requireFree } from '../require-free.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

const LOT_LENGTH = 16;
/** Of one hardware revision a plan to begin from names no more. */
const PILOT_UNITS = 1;

/** Writes a plan to begin from, or judges one against the fleet. */
export async function run(call: Call): Promise<number> {
  const [out, file] = [call.text('out'), call.text('plan')];
  if ((out === undefined) === (file === undefined))
    throw wrongUse('give --out FILE for a plan to begin from, or --plan FILE for one to be judged');
  const session = await openSession(call);
  const deviceClass = await readClass(session.workspace, call.args[0]!);
  const store = await openFleetOf(session);
  try {
    await store.importUnits(recordedUnits(session.workspace));
    if (out !== undefined) return await write(call, store, deviceClass, out);
    return await judge(call, store, deviceClass, await planFromText(filesOn().readText(file!), file!));
  } finally {
    await store.close();
  }
}

async function write(call: Call, store: FleetStore, deviceClass: DeviceClass, out: string): Promise<number> {
  requireFree(out);
  filesOn().createNew(out, planYaml(deviceClass.name, await pilotOf(store, deviceClass)));
  call.out.line(
    `wrote ${out}: set its waves and its limits, then see: fieldseal broadcast plan ${deviceClass.name} --plan ${out}`,
  );
  call.out.result({ format: 'fieldseal.broadcast-plan-written/1', class: deviceClass.name, file: out });
  return EXIT.done;
}

/** One unit of each hardware revision, by serial number. */
async function pilotOf(store: FleetStore, { classId }: DeviceClass) {
  const pilot: { serial: string; hardware: string | undefined }[] = [];
  for await (const { classId: of, serial, hardware } of store.exportUnits()) {
    if (of !== toHex(classId) || serial === undefined) continue;
    if (pilot.filter((unit) => unit.hardware === hardware).length < PILOT_UNITS)
      pilot.push({ serial, hardware });
  }
  return pilot;
}

async function judge(
  call: Call,
  store: FleetStore,
  deviceClass: DeviceClass,
  plan: BroadcastPlan,
): Promise<number> {
  const preview = await previewOf(store, deviceClass, { plan, lot: randomBytes(LOT_LENGTH) });
  const unpiloted = preview.unpiloted.filter((revision) => !plan.unpilotedHardware.includes(revision));
  call.out.line(`${plan.waves.length} waves for ${preview.units} units of class ${deviceClass.name}`);
  for (const { name, units } of preview.waves) call.out.fact(name, `${units} unit${units === 1 ? '' : 's'}`);
  if (preview.beyond > 0) call.out.fact('in no wave', `${preview.beyond} units`);
  if (plan.waves.some(({ share }) => share > 0))
    call.out.line('shares are drawn by a lot of their own when it begins: about so many');
  if (preview.missing.length > 0) call.out.caution(`not in the fleet: ${preview.missing.join(', ')}`);
  if (unpiloted.length > 0)
    call.out.caution(
      `hardware without a unit in the pilot: ${unpiloted.join(', ')}; broadcast begin refuses that`,
    );
  call.out.caution('the pilot holds units that you can watch and reach, of every hardware revision');
  call.out.result({
    format: 'fieldseal.broadcast-preview/1',
    class: deviceClass.name,
    units: preview.units,
    waves: preview.waves,
    in_no_wave: preview.beyond,
    unpiloted_hardware: unpiloted,
    not_in_fleet: preview.missing,
  });
  return preview.waves[0]!.units === 0 || unpiloted.length > 0 ? EXIT.refused : EXIT.done;
}
