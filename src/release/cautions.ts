import { parseVersion } from '../suit/index.ts';
import {
  type DeviceClass,
  leavesCaution,
  readLeaves,
  readLedger,
  type Workspace,
} from '../workspace/index.ts';
import type { Release } from './record.ts';
import { openText } from './signer.ts';

const DAY = 86_400_000;
const SOON_DAYS = 60;

/** What the engineer should know about this release before it goes out: what is unusual first, the usual last. */
export function cautionsFor(release: Release, securityBefore: number): string[] {
  return [
    ...release.taken.cautions,
    ...policyCautions(release),
    ...approvalCautions(release),
    ...securityCautions(release, securityBefore),
    ...certificateCautions(release),
    ...leafCautions(release),
    ...versionCautions(release),
    ...schemeCautions(release),
    ...encryptionCautions(release),
    ...deltaCautions(release),
    ...release.deviceClass.cautions,
    'run it on a reference unit of every hardware revision before it is broadcast, and keep a recovery path proved',
    'for a product under a safety or approval standard, that standard and qualified practice decide whether, when and by whom it is installed',
  ];
}

/** Highest security version that the ledger knows of a class. */
export function highestSecurityVersion(workspace: Workspace, { name }: DeviceClass): number {
  return readLedger(workspace)
    .filter(({ kind, facts }) => kind === 'sealed' && facts.class === name)
    .reduce((highest, { facts }) => Math.max(highest, Number(facts.security_version) || 0), 0);
}

function* approvalCautions({ request, deviceClass, approved, taken }: Release): Generator<string> {
  const { workspace } = request;
  if (!approved && workspace.kind === 'production')
    yield `sealed by one person alone: class ${deviceClass.name} says approvals: 0`;
  const higher = readLedger(workspace)
    .filter(({ kind, facts }) => kind === 'sealed' && facts.class === deviceClass.name)
    .map(({ facts }) => BigInt(String(facts.sequence_number)))
    .filter((number) => number > taken.number);
  if (higher.length > 0)
    yield `number ${higher.at(-1)} was sealed since this one was requested: units that took that release refuse this one`;
}

function* securityCautions({ request }: Release, before: number): Generator<string> {
  const now = request.securityVersion ?? 0;
  if (now > before) {
    yield `security version ${now}: a unit that keeps this image never again accepts or starts one below ${now}; that cannot be undone`;
  } else if (now < before) {
    yield `security version ${now} is below ${before}, sealed before: units that kept that release refuse this one`;
  }
}

function* certificateCautions({ sealer, deviceClass, sealedAt }: Release): Generator<string> {
  const ends =
    sealer.kind === 'signature' ? sealer.hands.flatMap(({ chosen }) => chosen.leaf.notAfter ?? []) : [];
  const [end] = ends.toSorted((a, b) => a.getTime() - b.getTime());
  if (!end) return;
  const days = Math.floor((end.getTime() - sealedAt.getTime()) / DAY);
  if (days <= SOON_DAYS)
    yield `the signer's certificate ends in ${days} days, on ${end.toISOString().slice(0, 10)}`;
  if (deviceClass.clock)
    yield `units of this class have a clock and refuse to install this after ${end.toISOString()}`;
}

function* policyCautions({ sealer }: Release): Generator<string> {
  const standing = sealer.kind === 'signature' ? sealer.standing : undefined;
  if (!standing || standing.satisfied) return;
  yield `unfinished: units refuse it until it is signed by ${openText(standing)} too; add the signature with "fieldseal signature add"`;
}

function* leafCautions({ request, sealer }: Release): Generator<string> {
  if (sealer.kind === 'mac') return;
  for (const { chosen } of sealer.hands) {
    const { description } = chosen;
    const leaves = readLeaves(request.workspace, description);
    const few = leaves && leavesCaution(description.name, leaves);
    if (few) yield few;
  }
}

function* versionCautions({ request }: Release): Generator<string> {
  if (parseVersion(request.version)) return;
  yield `version "${request.version}" cannot be written as set-version (whole numbers with dots, such as 1.4.0 or 2.0.0-rc.1); it stands in the text only`;
}

/** What encryption of the image does not do, and what it costs here. */
function* encryptionCautions({ recipients, deviceClass }: Release): Generator<string> {
  if (!recipients) return;
  const { name, memory } = deviceClass;
  if (recipients.kind === 'units')
    yield `encrypted for the ${recipients.count} unit(s) on record: one provisioned later cannot decrypt it`;
  if (recipients.kind === 'class')
    yield `one content key is shared by all units of ${name}: whoever reads it out of one unit can read this image; cohorts or units limit that`;
  if (memory.shape !== 'staged')
    yield 'no staging area: units decrypt into the free slot before they can compare a digest, so an image altered on the way costs an erase of that slot; such tries are counted and bounded';
  yield 'encryption keeps the image from being read on its way, and is no defence once a unit is opened';
}

function* deltaCautions({ images }: Release): Generator<string> {
  const deltas = images.flatMap(({ delta }) => delta ?? []);
  if (deltas.length === 0) return;
  for (const { from } of deltas) {
    if (!from.release)
      yield `${from.file} is no image of a release of this class on record: no unit is known to run it`;
  }
  yield 'units that run anything else refuse the delta and need the whole image: keep it within their reach';
}

function* schemeCautions({ sealer }: Release): Generator<string> {
  if (sealer.kind === 'signature') return;
  yield 'symmetric scheme: whoever reads a key out of one unit can forge payloads for every unit that holds it';
}
