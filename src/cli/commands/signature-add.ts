import { addSignature } from '../../release/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Has another signer sign a sealed envelope. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const json = await addSignature({
    workspace,
    secrets,
    envelope: call.args[0]!,
    signer: call.text('signer')!,
    out: call.text('out')!,
    force: call.flag('force'),
    module: call.text('module'),
    growing: (done: number, total: number) => call.out.progress('growing a tree', done, total),
  });
  const signer = json.signer as { name: string; role: string | null; algorithm: string };
  const envelope = json.envelope as { file: string; size_bytes: number };
  call.out.line(`signed ${envelope.file}${trialMark(workspace)}`);
  call.out.fact('class', `${json.class}, sequence number ${json.sequence_number}`);
  call.out.fact('manifest digest', String(json.manifest_digest));
  call.out.fact('signer', [signer.name, signer.role, signer.algorithm].filter(Boolean).join(', '));
  call.out.fact('signatures', String(json.signatures));
  call.out.fact('envelope', `${envelope.size_bytes} B`);
  call.out.fact('record', String(json.record));
  for (const caution of json.cautions as string[]) call.out.caution(caution);
  call.out.result(json);
  return EXIT.done;
}
