import { classJson, listClasses, readClass } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Lists the classes. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const names = listClasses(workspace);
  const classes = await Promise.all(names.map((name) => readClass(workspace, name)));
  call.out.line(`${classes.length} ${classes.length === 1 ? 'class' : 'classes'}${trialMark(workspace)}`);
  for (const { name, model, scheme, profile } of classes)
    call.out.fact(name, `${model}  ${scheme}  ${profile.name}`);
  call.out.result({
    format: 'fieldseal.classes/1',
    classes: classes.map((entry) => classJson(workspace, entry)),
  });
  return EXIT.done;
}
