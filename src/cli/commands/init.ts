import { formatUuid } from '../../suit/index.ts';
import { initWorkspace } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Makes a workspace. */
export function run(call: Call): number {
  const folder = call.args[0]!;
  const workspace = initWorkspace(folder, {
    vendorDomain: call.text('vendor-domain')!,
    production: call.flag('production'),
  });
  const vendorId = formatUuid(workspace.vendorId);
  call.out.line(`workspace ${folder} made${trialMark(workspace)}`);
  call.out.fact('vendor', workspace.vendorDomain);
  call.out.fact('vendor identifier', vendorId);
  call.out.line(`next: cd ${folder} && fieldseal class add NAME --model TEXT --scheme asymmetric`);
  call.out.result({
    format: 'fieldseal.workspace-made/1',
    folder: workspace.root,
    kind: workspace.kind,
    trial: workspace.kind === 'trial',
    vendor_domain: workspace.vendorDomain,
    vendor_id: vendorId,
  });
  return EXIT.done;
}
