import { counterJson } from '../../answers/index.ts';
import { readClass, readCounter } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Shows a class's sequence counter. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const { name } = await readClass(workspace, call.args[0]!);
  const state = readCounter(workspace, name);
  call.out.line(`sequence counter of ${name}${trialMark(workspace)}`);
  call.out.fact('last taken here', state.lineage ? String(state.last) : 'no counter in this copy');
  call.out.fact('highest witnessed', `${state.witnessed.number}  (${state.witnessed.by})`);
  call.out.fact('lineage', state.lineage ?? 'none');
  if (state.lineage !== state.owner) {
    call.out.caution(
      `this copy may not seal for ${name}: take the counter over with "fieldseal counter claim"`,
    );
  }
  call.out.result(counterJson(name, state));
  return EXIT.done;
}
