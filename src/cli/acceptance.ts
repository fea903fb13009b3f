import { fromUtf8, toHex } from '../bytes/index.ts';
import { startSha256 } from '../crypto/index.ts';
import { costOf, readFigures } from '../plan/index.ts';
import {
  type Acceptance,
  type AcceptanceDocument,
  type AcceptanceProgress,
  acceptanceJson,
  type Columns,
  classesOf,
  columnsFromText,
  type Inventory,
  OWN_NAMES,
  openInventory,
  rehearseAcceptance,
  requireEnvelope,
  runningImages,
  type UnitFacts,
} from '../rehearsal/index.ts';
import { SuitError } from '../suit/index.ts';
import {
  appendEntry,
  type FileSource,
  fileSource,
  filesOn,
  openWorkspace,
  readableJson,
  readClass,
  type Workspace,
} from '../workspace/index.ts';
import { timeOf } from './date.ts';
import { EXIT, wrongUse } from './exit.ts';
import { trialMark } from './session.ts';
import { showAcceptance } from './show-acceptance.ts';
import type { Call } from './spec.ts';

const ONLY_ALONE = ['unit', 'class', 'serial', 'cohort'];

/** Asks every unit of an inventory whether it would take the payload. */
export async function rehearseUnits(call: Call): Promise<number> {
  const other = ONLY_ALONE.find((name) => call.text(name) !== undefined);
  if (other) {
    throw wrongUse(`--${other} does not go with --units`, 'the inventory says which units there are');
  }
  const workspace = await openWorkspace(call.workspaceOption);
  const columns = await columnsOf(call, workspace);
  const image = call.text('image');
  const files = {
    envelope: fileSource(call.args[0]!),
    image: image === undefined ? undefined : fileSource(image),
  };
  const runs = call.texts('running').map((path) => fileSource(path));
  try {
    requireEnvelope(files.envelope, call.args[0]!, workspace);
    const inventory = openInventory(call.text('units')!, columns);
    const minimum = await minimumBattery(call, workspace, files.envelope);
    const acceptance = await rehearseAcceptance({
      ...files,
      running: imagesThatRun(call.texts('running'), runs),
      units: inventory.units,
      classes: await classesOf(workspace),
      now: timeOf(call),
      minimumBattery: minimum?.of,
      progress: (step) => showProgress(call, step),
    });
    return conclude(call, workspace, acceptance, {
      rehearsed: workspace.now().toISOString(),
      envelope: summaryOf(files.envelope),
      image: files.image ? summaryOf(files.image) : null,
      inventory: inventoryJson(inventory),
      minimum_battery: minimum?.told ?? null,
    });
  } finally {
    files.envelope.close();
    files.image?.close();
    for (const each of runs) each.close();
  }
}

function imagesThatRun(paths: readonly string[], sources: readonly FileSource[]) {
  try {
    return runningImages(sources);
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    throw wrongUse(
      `one of ${paths.join(', ')} is no envelope: ${error.message}`,
      'name with --running the envelopes of releases that units run, with their images inside',
    );
  }
}

function conclude(
  call: Call,
  workspace: Workspace,
  acceptance: Acceptance,
  circumstances: Parameters<typeof acceptanceJson>[1],
): number {
  const json = acceptanceJson(acceptance, circumstances);
  call.out.line(`${call.args[0]}: asked of the units in ${call.text('units')}${trialMark(workspace)}`);
  keep(call, workspace, json);
  showAcceptance(call.out, json);
  call.out.result(json);
  if (json.outcome === 'some are left behind') return EXIT.refused;
  return json.outcome === 'everyone accepts' ? EXIT.done : EXIT.incomplete;
}

async function columnsOf(call: Call, workspace: Workspace): Promise<Columns> {
  const path = call.text('columns');
  return path === undefined ? OWN_NAMES : columnsFromText(workspace.files.readText(path), path);
}

interface MinimumBattery {
  readonly told: string;
  readonly of: (facts: UnitFacts) => number | undefined;
}

/** The least energy that a unit needs: as given, or computed over the link that the inventory names for the unit. */
async function minimumBattery(
  call: Call,
  workspace: Workspace,
  payload: FileSource,
): Promise<MinimumBattery | undefined> {
  const given = call.count('minimum-battery');
  if (given !== undefined) return { told: `${given} mWh, as given`, of: () => given };
  const figures = await readFigures(workspace);
  const classes = new Map(
    await Promise.all(
      workspace.files
        .list(workspace.path('classes'))
        .filter((name) => name.endsWith('.yaml'))
        .map(async (name) => {
          const deviceClass = await readClass(workspace, name.slice(0, -'.yaml'.length));
          return [deviceClass.name, deviceClass] as const;
        }),
    ),
  );
  const known = new Map<string, number | undefined>();
  const compute = (className: string, link: string): number | undefined => {
    const deviceClass = classes.get(className);
    if (!deviceClass || !figures.links.includes(link)) return undefined;
    try {
      const cost = costOf({ payload, deviceClass, figures, links: [link], units: 1, recipients: undefined });
      // Of a payload by delta, some units take the whole image.
      const byDelta = cost.payload.delta !== undefined;
      const sent = cost.links[0]!.variants.filter(
        ({ variant }) => variant.basis === 'sealed' || (byDelta && variant.name === 'full'),
      );
      return Math.max(...sent.map(({ effort }) => effort.minimumBattery));
    } catch {
      return undefined; // A payload that cannot be read is refused by the check, in its own words.
    }
  };
  const of = ({ class: className = '', link = '' }: UnitFacts) => {
    const key = `${className} ${link}`;
    if (!known.has(key)) known.set(key, compute(className, link));
    return known.get(key);
  };
  return { told: 'computed for the link of each unit: fieldseal cost', of };
}

function showProgress(call: Call, step: AcceptanceProgress): void {
  if (step.doing === 'reading') {
    call.out.count(`reading: ${step.units} units in ${step.groups} groups`);
    return;
  }
  const { done, total, secondsLeft } = step;
  const left = secondsLeft === undefined ? '' : `, about ${Math.ceil(secondsLeft)} s left`;
  call.out.progress(`asking ${total} groups${left}`, done, total);
}

function summaryOf(source: FileSource): { size_bytes: number; sha256: string } {
  const hash = startSha256();
  for (const piece of source.pieces()) hash.update(piece);
  return { size_bytes: source.size, sha256: toHex(hash.digest()) };
}

function inventoryJson(inventory: Inventory): AcceptanceDocument['inventory'] {
  return {
    size_bytes: inventory.sizeBytes,
    sha256: inventory.sha256(),
    unused_columns: [...inventory.unused],
  };
}

/** Enters the outcome in the ledger before the file of the result gets its name. */
function keep(call: Call, workspace: Workspace, json: AcceptanceDocument): void {
  const path = call.text('out');
  const output = path === undefined ? undefined : filesOn().beginOutput(path, { force: call.flag('force') });
  try {
    output?.write(fromUtf8(readableJson(json)));
    output?.settle();
    appendEntry(workspace, 'acceptance-rehearsed', {
      envelope_sha256: json.envelope.sha256,
      manifest_digest: json.manifest_digest,
      sequence_number: json.sequence_number,
      inventory_sha256: json.inventory.sha256,
      outcome: json.outcome,
      ...json.counts,
      reasons: json.remedies.map(({ code, units }) => ({ code, units })),
    });
    output?.commit();
  } finally {
    output?.abandon();
  }
}
