import { rmSync } from 'node:fs';
import { createStationKey } from '../../authority/index.ts';
import type { KeyDescription } from '../../keys/index.ts';
import { acceptResult, issueBatch, readSerial, runJob } from '../../provision/index.ts';
import { keyPaths, listKeys, readClass, sharesContentKeys } from '../../workspace/index.ts';
import { CommandFailure, EXIT } from '../exit.ts';
import { firstFacts } from '../first-firmware.ts';
import { requireFree } from '../require-free.ts';
import { accessTo, openSession, type Session, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';
import { stationAccess } from '../station-access.ts';
import { virtualStation } from '../virtual-station.ts';

const VIRTUAL_STATION = 'virtual-station';

/** Provisions one virtual unit: job, station, result, record. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const { workspace } = session;
  const deviceClass = await readClass(workspace, call.args[0]!);
  const [out, first] = [call.text('out')!, call.text('first')];
  const serial = readSerial(call.text('serial')!);
  requireFree(out);
  const holdsShared = deviceClass.scheme === 'symmetric' || sharesContentKeys(deviceClass);
  const station = holdsShared ? await stationOf(call, session) : undefined;
  const job = await issueBatch(
    workspace,
    { deviceClass, serials: [serial], cohort: call.text('cohort'), station, first: firstFacts(first) },
    (name) => accessTo(session, name),
  );
  const result = await runJob(
    job,
    station?.name ?? VIRTUAL_STATION,
    virtualStation({
      job,
      secrets: session.secrets,
      station: station && stationAccess(session, station),
      unitPath: () => out,
      first: first === undefined ? undefined : { envelope: first, image: call.text('image') },
      recovery: call.text('recovery'),
    }),
  ).catch((error: unknown) => {
    // A unit that was not finished must not lie about.
    rmSync(out, { force: true });
    throw error;
  });
  const { units, books } = acceptResult(workspace, result);
  const [unit] = units;
  if (unit?.outcome !== 'provisioned') {
    const why = unit?.outcome === 'open' ? unit.problems.join('; ') : 'it was scrapped';
    throw new CommandFailure(EXIT.refused, 'not-provisioned', `unit ${serial} is not provisioned: ${why}`);
  }
  show(call, session, deviceClass.name, out, first !== undefined, unit.unit);
  call.out.result({
    format: 'fieldseal.provisioned/1',
    trial: job.trial,
    class: deviceClass.name,
    serial,
    unit_file: out,
    batch: job.batch,
    empty: first === undefined,
    record: `units/${deviceClass.name}/${serial}.json`,
    books,
    result: unit.unit,
  });
  return EXIT.done;
}

function show(
  call: Call,
  { workspace }: Session,
  className: string,
  out: string,
  firmware: boolean,
  unit: {
    serial: string;
    device_id: string;
    overwrite_attempt: { observed: string };
    debug: string;
    anchors_read_back: { label: string }[];
    mac_key_check_values: { check_value: string }[];
    content_key_check_values?: { check_value: string }[] | undefined;
  },
): void {
  const holds = [
    ...unit.anchors_read_back.map(({ label }) => `root ${label}`),
    ...unit.mac_key_check_values.map(({ check_value }) => `secret key, check value ${check_value}`),
    ...(unit.content_key_check_values ?? []).map(
      ({ check_value }) => `content key, check value ${check_value}`,
    ),
  ];
  call.out.line(`unit ${unit.serial} of class ${className} is provisioned: ${out}${trialMark(workspace)}`);
  call.out.fact('device identifier', unit.device_id);
  call.out.fact('holds, locked', holds.join(', '));
  call.out.fact('lock proof', `overwrite attempted, ${unit.overwrite_attempt.observed}`);
  call.out.fact('debug port', unit.debug);
  call.out.fact('first firmware', firmware ? 'installed, started and kept' : 'none: the unit is empty');
  if (!firmware) call.out.line('  its first install counts as production programming');
  call.out.caution(
    'on real parts a lock and a closed debug port cannot be undone: try the job on one unit and scrap it first.',
  );
}

/** The station named, or the virtual one of this workspace, made when it is first needed. */
async function stationOf(call: Call, session: Session): Promise<KeyDescription> {
  const { workspace, secrets } = session;
  const name = call.text('station') ?? VIRTUAL_STATION;
  const known = listKeys(workspace, 'station').find((key) => key.name === name);
  if (known) return known;
  if (name !== VIRTUAL_STATION) {
    throw new CommandFailure(
      EXIT.wrongUse,
      'station-missing',
      `there is no station key ${name}`,
      `make it: fieldseal station-key create ${name}`,
    );
  }
  const place = (keyName: string) =>
    ({ custody: 'file', path: keyPaths(workspace, keyName).secret }) as const;
  const made = await createStationKey(workspace, name, place, { people: [], backups: [] }, secrets);
  return made.description;
}
