import type { AttestationAppraisal } from '../attestation/index.ts';
import { readableJson, type Workspace } from '../workspace/index.ts';

const FORMAT = 'fieldseal.attestation-heard/1';

interface UnitName {
  readonly className: string;
  readonly serial: string;
}

/** How often a unit had been started when it was last heard, in this copy of the workspace. */
export function lastBootCount(workspace: Workspace, unit: UnitName): number | undefined {
  const path = pathOf(workspace, unit);
  if (!workspace.files.exists(path)) return undefined;
  return (JSON.parse(workspace.files.readText(path)) as { boot_count: number }).boot_count;
}

/** Remembers how often an authentic answer says that its unit was started; the count never falls. */
export function rememberBootCount(workspace: Workspace, { sender, told }: AttestationAppraisal): void {
  const count = told?.bootcount;
  if (!sender || count === undefined || count <= (lastBootCount(workspace, sender) ?? -1)) return;
  workspace.files.makeFolder(workspace.path('private', 'attestations', sender.className), { secret: true });
  const facts = { format: FORMAT, boot_count: count, appraised: workspace.now().toISOString() };
  workspace.files.replace(pathOf(workspace, sender), readableJson(facts), { secret: true });
}

function pathOf(workspace: Workspace, { className, serial }: UnitName): string {
  return workspace.path('private', 'attestations', className, `${serial}.json`);
}
