import type { SlotShape } from '../../image/index.ts';
import { parseSize } from '../../image/index.ts';
import type { Scheme } from '../../unit/index.ts';
import { addClass, type ClassOptions, classJson, WorkspaceError } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openSession } from '../session.ts';
import { showClass } from '../show-class.ts';
import type { Call } from '../spec.ts';

/** Adds a device class. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const deviceClass = await addClass(workspace, optionsOf(call)).catch((error: unknown) => {
    throw notMade(error);
  });
  showClass(call.out, workspace, deviceClass);
  call.out.line(
    `  edit ${workspace.show(deviceClass.file)}, then: fieldseal class check ${deviceClass.name}`,
  );
  if (deviceClass.scheme === 'symmetric') {
    call.out.caution(
      'every unit of a symmetric class holds its key: one unit read out is enough to forge for all of them. ' +
        'In consumer units this conflicts with ETSI EN 303 645 provision 5.4-4 (unique per device).',
    );
  }
  call.out.result(classJson(workspace, deviceClass));
  return EXIT.done;
}

// The file that the mistakes would stand in was never written: the options are what to change.
function notMade(error: unknown): unknown {
  if (!(error instanceof WorkspaceError) || error.code !== 'file-invalid') return error;
  const [{ field, says, expected, found }] = error.mistakes as [WorkspaceError['mistakes'][number]];
  return wrongUse(
    `no class was made: ${field}: ${says ?? found}; expected ${expected}`,
    'change the options, for example --slot-size 256KiB; finer figures can be edited once the class is there',
  );
}

function optionsOf(call: Call): ClassOptions {
  const slotSize = call.text('slot-size');
  return withoutAbsent({
    name: call.args[0]!,
    model: call.text('model')!,
    scheme: call.text('scheme') as Scheme,
    hardwareRevision: call.text('hardware-revision'),
    profile: call.text('profile'),
    core: call.text('core') as ClassOptions['core'],
    slotSize: slotSize === undefined ? undefined : parseSize(slotSize),
    shape: call.text('shape') as SlotShape | undefined,
    clock: call.flag('clock') || undefined,
  });
}

function withoutAbsent(options: { [K in keyof ClassOptions]: ClassOptions[K] | undefined }): ClassOptions {
  return Object.fromEntries(
    Object.entries(options).filter(([, value]) => value !== undefined),
  ) as unknown as ClassOptions;
}
