import { encryptEnvelope } from '../../release/index.ts';
import { deviceOf } from '../device.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Encrypts an envelope for sending. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const className = call.text('class')!;
  const json = await encryptEnvelope({
    workspace,
    secrets,
    className,
    envelope: call.args[0]!,
    out: call.text('out')!,
    force: call.flag('force'),
    signer: call.text('signer'),
    cohort: call.text('cohort'),
    deviceId: await deviceOf(call, workspace, className),
    module: call.text('module'),
    growing: (done: number, total: number) => call.out.progress('growing a tree', done, total),
  });
  const message = json.message as { file: string; size_bytes: number; sha256: string };
  const encryption = json.encryption as { algorithm: string; recipients: { kind: string; count: number } };
  const { kind, count } = encryption.recipients;
  call.out.line(`encrypted for sending: ${message.file}${trialMark(workspace)}`);
  call.out.fact('message', `${message.size_bytes} B  sha-256 ${message.sha256}`);
  call.out.fact('encrypted', `${encryption.algorithm}, for ${count} (${kind})`);
  call.out.fact('vouched for by', String(json.sent_by));
  call.out.caution(
    'this hides version and target on the way and ends where it is decrypted; the envelope inside is judged all the same',
  );
  call.out.result(json);
  return EXIT.done;
}
