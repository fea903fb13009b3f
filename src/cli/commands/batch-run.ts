import { join } from 'node:path';
import { readTextFile } from '../../keys/index.ts';
import { LARGEST_BATCH_FILE, readJob, runJob } from '../../provision/index.ts';
import { filesOn, openWorkspace, readableJson, readKey } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { requireFree } from '../require-free.ts';
import { type Session, secretsFor } from '../session.ts';
import type { Call } from '../spec.ts';
import { stationAccess } from '../station-access.ts';
import { virtualStation } from '../virtual-station.ts';

/** Carries out a job as a virtual station. Needs a workspace only where the job carries keys for a station. */
export async function run(call: Call): Promise<number> {
  const job = readJob(readTextFile(call.args[0]!, LARGEST_BATCH_FILE));
  const secrets = secretsFor(call, !job.trial);
  const session: Session | undefined = job.station && {
    workspace: await openWorkspace(call.workspaceOption),
    secrets,
  };
  const [folder, first] = [call.text('units')!, call.text('first')];
  const unitPath = (serial: string) => join(folder, `${job.class_name}-${serial}.unit`);
  for (const serial of job.serials) requireFree(unitPath(serial));
  const files = filesOn();
  files.makeFolder(folder);
  const result = await runJob(
    job,
    job.station?.name ?? 'virtual-station',
    virtualStation({
      job,
      secrets,
      station: session && stationAccess(session, readKey(session.workspace, job.station!.name)),
      unitPath,
      first: first === undefined ? undefined : { envelope: first, image: call.text('image') },
      recovery: call.text('recovery'),
    }),
  );
  const out = files.beginOutput(call.text('out')!);
  out.write(new TextEncoder().encode(readableJson(JSON.parse(JSON.stringify(result)))));
  out.settle();
  out.commit();
  call.out.line(`${result.units.length} units made in ${folder}; result in ${call.text('out')}`);
  call.out.line('they count as provisioned only after: fieldseal batch accept');
  call.out.result({ ...result, format: 'fieldseal.batch-run/1' });
  return EXIT.done;
}
