import { CoseError } from '../../cose/index.ts';
import { type CostRequest, costJson, costOf, type FigureBook, readFigures } from '../../plan/index.ts';
import { SuitError } from '../../suit/index.ts';
import {
  contentKeys,
  type DeviceClass,
  fileSource,
  listRecords,
  readClass,
  type Workspace,
} from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import { showCost } from '../show-cost.ts';
import type { Call } from '../spec.ts';

/** What a release costs over each link of its class. Reads, and changes nothing. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const deviceClass = await readClass(workspace, call.text('class')!);
  const figures = await readFigures(workspace, call.text('figures'));
  const file = call.args[0]!;
  const from = call.text('from');
  const payload = fileSource(file);
  const precursor = from === undefined ? undefined : fileSource(from);
  try {
    const cost = readable(file, () =>
      costOf({
        payload,
        precursor,
        deviceClass,
        figures,
        ...audienceOf(call, workspace, deviceClass, figures),
      }),
    );
    call.out.line(`${file}: class ${deviceClass.name}, ${cost.units} unit(s)${trialMark(workspace)}`);
    showCost(call.out, cost);
    call.out.result({
      format: 'fieldseal.cost/1',
      trial: workspace.kind === 'trial',
      file,
      from: from ?? null,
      class: deviceClass.name,
      ...costJson(cost),
    });
    return EXIT.done;
  } finally {
    payload.close();
    precursor?.close();
  }
}

function audienceOf(
  call: Call,
  workspace: Workspace,
  deviceClass: DeviceClass,
  figures: FigureBook,
): Pick<CostRequest, 'links' | 'units' | 'recipients'> {
  const named = call.texts('link');
  const own = named.length > 0 ? named : deviceClass.links;
  const given = call.count('units');
  if (given === 0) throw wrongUse('--units 0: nobody to send to', 'for example --units 1200');
  const units = given ?? Math.max(1, listRecords(workspace, 'units', deviceClass.name).length);
  const forUnits = deviceClass.recipients === 'units';
  return {
    links: own.length > 0 ? own : figures.links,
    units,
    recipients: forUnits ? given : cohortCount(workspace, deviceClass),
  };
}

/** Cohorts that hold a content key of their own, or the class as one. */
function cohortCount(workspace: Workspace, { name, recipients }: DeviceClass): number {
  if (recipients === 'class') return 1;
  return Math.max(1, contentKeys(workspace, name).filter(({ cohort }) => cohort !== undefined).length);
}

function readable<T>(file: string, action: () => T): T {
  try {
    return action();
  } catch (error) {
    if (!(error instanceof SuitError) && !(error instanceof CoseError)) throw error;
    throw wrongUse(
      `${file} is no envelope that can be read: ${error.message}`,
      'name a sealed envelope; of an encrypted message, the envelope that it was made from',
    );
  }
}
