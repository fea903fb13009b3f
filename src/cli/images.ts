import type { ImageFormat } from '../image/index.ts';
import type { ImageInput, SealProgress } from '../release/index.ts';
import type { Workspace } from '../workspace/index.ts';
import { deviceOf } from './device.ts';
import { wrongUse } from './exit.ts';
import { componentsOf } from './parts.ts';
import type { Call } from './spec.ts';

/** The firmware files that a call names. */
function imagesOf(call: Call): ImageInput[] {
  const format = call.text('image-format') as ImageFormat | undefined;
  const slotB = call.text('slot-b');
  return [
    { path: call.args[0]!, format, uri: call.text('uri') },
    ...(slotB === undefined ? [] : [{ path: slotB, format, uri: call.text('uri-b') }]),
  ];
}

/** What a release is made of beside its image: the same whether it is sealed at once, asked for, or sealed by a request. */
export function filesOf(call: Call) {
  const from = call.texts('delta-from');
  return {
    images: imagesOf(call),
    components: componentsOf(call),
    dependencies: call.texts('dependency'),
    deltaFrom: from.length > 0 ? from : undefined,
  };
}

/** What a call says of a release, whether it is sealed at once or asked for. */
export async function releaseOptions(call: Call, workspace: Workspace, className: string) {
  return {
    workspace,
    className,
    ...filesOf(call),
    version: call.text('version')!,
    detached: call.flag('detached'),
    signers: call.texts('signer'),
    securityVersion: call.count('security-version'),
    sequence: call.big('sequence'),
    allowJump: call.flag('allow-jump'),
    deviceId: await deviceOf(call, workspace, className),
    description: call.text('description'),
    withoutText: call.flag('without-text'),
    referenceUri: uriOf(call.text('reference-uri')),
    module: call.text('module'),
    ...progressOf(call),
  };
}

/** How far long steps are, for people. */
export function progressOf(call: Call) {
  return {
    progress: ({ doing, doneBytes, totalBytes }: SealProgress) =>
      call.out.progress(doing, doneBytes, totalBytes),
    growing: (done: number, total: number) => call.out.progress('growing a tree', done, total),
  };
}

function uriOf(text: string | undefined): string | undefined {
  if (text === undefined || URL.canParse(text)) return text;
  throw wrongUse(
    `--reference-uri ${text}: not an absolute URI`,
    'for example https://hollinridge.example/vent/12',
  );
}
