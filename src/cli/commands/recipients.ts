import { weighRecipients, weightJson } from '../../release/index.ts';
import { deviceOf } from '../device.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Shows what recipients would add to an envelope; nothing is opened, sealed or counted. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const className = call.args[0]!;
  const weight = await weighRecipients(workspace, className, await deviceOf(call, workspace, className));
  const { kind, count, bytesEach, bytesInAll, algorithm } = weight;
  call.out.line(`content key of an image of class ${className}${trialMark(workspace)}`);
  call.out.fact('sent to', `${count} (${kind}), by ${algorithm}`);
  call.out.fact('each adds', `${bytesEach} B`);
  call.out.fact('in all', `${bytesInAll} B for each image`);
  call.out.result({
    format: 'fieldseal.recipients/1',
    trial: workspace.kind === 'trial',
    class: className,
    ...weightJson(weight),
  });
  return EXIT.done;
}
