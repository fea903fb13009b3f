import {
  classKeys,
  type DeviceClass,
  type JsonObject,
  ledgerVerdictJson,
  listClasses,
  listKeys,
  listRecords,
  listReleases,
  readClass,
  readLedger,
  verifyLedger,
  type Workspace,
} from '../workspace/index.ts';
import { keyStandings, keysJson } from './keys.ts';
import { releasesJson } from './releases.ts';

const LATEST = 8;

/** The next sensible step: why, the command that does it, and the desk's page for it, where there is one. */
interface NextStep {
  readonly says: string;
  readonly command: string;
  readonly page: string | null;
}

/** Where a workspace stands: classes, keys and what lapses when, the last releases, what needs care, what comes next. */
export async function standingJson(workspace: Workspace): Promise<JsonObject> {
  const classes = await Promise.all(listClasses(workspace).map((name) => readClass(workspace, name)));
  const standings = keyStandings(workspace);
  const ledger = ledgerVerdictJson(verifyLedger(workspace)) as JsonObject;
  return {
    format: 'fieldseal.standing/1',
    workspace: {
      kind: workspace.kind,
      trial: workspace.kind === 'trial',
      vendor_domain: workspace.vendorDomain,
    },
    now: workspace.now().toISOString(),
    classes: classes.map((deviceClass) => classFacts(workspace, deviceClass)),
    keys: keysJson(standings).keys!,
    releases: releasesJson(workspace, LATEST),
    ledger: { entries: readLedger(workspace).length, verdict: ledger },
    cautions: [
      ...standings.flatMap(({ cautions }) => cautions),
      ...classes.flatMap(({ name, cautions }) => cautions.map((caution) => `${name}: ${caution}`)),
    ],
    next: { ...nextStep(workspace, classes) },
  };
}

function classFacts(workspace: Workspace, deviceClass: DeviceClass): JsonObject {
  const { name, model, scheme, profile, clock, confidentiality } = deviceClass;
  return {
    name,
    model,
    scheme,
    profile: profile.name,
    clock,
    confidentiality,
    units: listRecords(workspace, 'units', name).length,
    releases: listReleases(workspace, name).length,
  };
}

function nextStep(workspace: Workspace, classes: readonly DeviceClass[]): NextStep {
  const step = (says: string, command: string, page: string | null = null) => ({ says, command, page });
  const [first] = classes;
  if (!first)
    return step(
      'Describe the first device class.',
      'fieldseal class add NAME --model TEXT --scheme asymmetric',
    );
  const asymmetric = classes.find(({ scheme }) => scheme === 'asymmetric');
  if (asymmetric && listKeys(workspace, 'root').length === 0)
    return step('Make the root authority, the key that every unit will trust.', 'fieldseal root create');
  if (asymmetric && listKeys(workspace, 'signer').length === 0)
    return step('Make a signer and have the root certify it.', 'fieldseal signer create line-1');
  const keyless = classes.find(
    (each) => each.scheme === 'symmetric' && classKeys(workspace, each.name).length === 0,
  );
  if (keyless)
    return step(`Make the class key of ${keyless.name}.`, `fieldseal class-key create ${keyless.name}`);
  const unmade = classes.find(({ name }) => listRecords(workspace, 'units', name).length === 0);
  if (unmade)
    return step(
      `Provision a first unit of ${unmade.name}.`,
      `fieldseal provision ${unmade.name} --serial 0001 --out ${unmade.name}-0001.unit`,
    );
  const unsealed = classes.find(({ name }) => listReleases(workspace, name).length === 0);
  if (unsealed)
    return step(
      `Seal a first release for ${unsealed.name}.`,
      `fieldseal seal FIRMWARE --class ${unsealed.name} --version 1.0.0 --out ${unsealed.name}.suit`,
      '/seal',
    );
  return step(
    'Rehearse the latest release before it is broadcast.',
    'fieldseal rehearse ENVELOPE --class CLASS',
    '/rehearse',
  );
}
