import { counterJson } from '../../answers/index.ts';
import { claimCounter, readClass, trustCounter } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Takes over a class's sequence counter in this copy of the workspace. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const className = call.args[0]!;
  const name = call.flag('trust') ? trustCounter(className) : className;
  const deviceClass = { ...(await readClass(workspace, className)), name };
  const state = claimCounter(workspace, deviceClass, {
    above: call.big('above')!,
    reason: call.text('reason')!,
    allowJump: call.flag('allow-jump'),
  });
  call.out.line(`this copy now seals for ${deviceClass.name}, above ${state.last}${trialMark(workspace)}`);
  call.out.caution('every other copy of this workspace must never seal for this class again.');
  call.out.result(counterJson(deviceClass.name, state));
  return EXIT.done;
}
