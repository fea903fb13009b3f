import { formatUuid } from '../../suit/index.ts';
import { readClass } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

/** Reads a class file; what is wrong with it comes as a failure with line and field. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const deviceClass = await readClass(workspace, call.args[0]!);
  call.out.line(
    `${workspace.show(deviceClass.file)} is sound: ${deviceClass.model}, ${deviceClass.profile.name}`,
  );
  call.out.result({
    format: 'fieldseal.class-check/1',
    class: deviceClass.name,
    file: workspace.show(deviceClass.file),
    sound: true,
    class_id: formatUuid(deviceClass.classId),
  });
  return EXIT.done;
}
