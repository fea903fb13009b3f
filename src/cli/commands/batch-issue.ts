import { readTextFile } from '../../keys/index.ts';
import { issueBatch, LARGEST_BATCH_FILE, readSerials } from '../../provision/index.ts';
import { readableJson, readClass, readKey } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { firstFacts } from '../first-firmware.ts';
import { accessTo, openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Issues a batch and writes the job file. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const { workspace } = session;
  const deviceClass = await readClass(workspace, call.args[0]!);
  const station = call.text('station');
  const out = workspace.files.beginOutput(call.text('out')!);
  try {
    const job = await issueBatch(
      workspace,
      {
        deviceClass,
        serials: readSerials(readTextFile(call.text('serials')!, LARGEST_BATCH_FILE)),
        cohort: call.text('cohort'),
        station: station === undefined ? undefined : readKey(workspace, station),
        first: firstFacts(call.text('first')),
      },
      (name) => accessTo(session, name),
    );
    out.write(new TextEncoder().encode(readableJson(JSON.parse(JSON.stringify(job)))));
    out.settle();
    out.commit();
    call.out.line(`batch ${job.batch}: ${job.serials.length} serial numbers issued${trialMark(workspace)}`);
    call.out.fact('job file', call.text('out')!);
    call.out.line('next: run it at the station, then here: fieldseal batch accept RESULT');
    call.out.result({
      format: 'fieldseal.batch-issued/1',
      batch: job.batch,
      class: deviceClass.name,
      job_file: call.text('out')!,
      issued: job.serials.length,
    });
    return EXIT.done;
  } finally {
    out.abandon();
  }
}
