import { toHex } from '../../bytes/index.ts';
import { type ImageInput, latestPolicy, type SealRequest } from '../../release/index.ts';
import { parseUuid } from '../../suit/index.ts';
import {
  fileSource,
  type JsonObject,
  listReleases,
  readRecord,
  type Workspace,
} from '../../workspace/index.ts';
import { WavesError } from './error.ts';

/** The previous image, to be sealed again. */
export interface Reissue {
  readonly workspace: Workspace;
  readonly className: string;
  /** Sequence number of the release that is sealed again. */
  readonly release: bigint;
  /** The firmware files it was sealed from, in slot order. */
  readonly images: readonly ImageInput[];
  /** The explicit yes to old code under a higher security version; undefined: the one it had. */
  readonly securityVersion: number | undefined;
}

/** What is sealed: all of a seal request that the earlier release decides. */
export type Reissued = Pick<
  SealRequest,
  'className' | 'images' | 'version' | 'securityVersion' | 'detached' | 'deviceId' | 'description'
>;

interface Released {
  readonly version: string;
  readonly security_version: number;
  readonly detached: boolean;
  readonly device_id: string | null;
  readonly description: string | null;
  readonly images: readonly { readonly source: { readonly sha256: string; readonly file: string } }[];
  readonly components?: readonly object[];
  readonly dependencies?: readonly object[];
}

/**
 * What it takes to seal an earlier release again under a new sequence number: the same files, version and form. Old code never
 * goes below the security floor: units that kept a release with a higher security version refuse it and start nothing
 * below. Throws `WavesError` nothing-before, image-differs, not-possible, floor-forbids, `WorkspaceError`.
 */
export async function reissueOf(asked: Reissue): Promise<Reissued> {
  const { className, images } = asked;
  const record = recordOf(asked);
  requirePlain(asked, record);
  await requireSame(asked, record);
  const securityVersion = asked.securityVersion ?? record.security_version;
  requireFloor(asked, record, securityVersion);
  return {
    className,
    images: images.map(({ path, format }) => ({ path, format })),
    version: record.version,
    securityVersion,
    detached: record.detached,
    deviceId: record.device_id === null ? undefined : parseUuid(record.device_id),
    description: record.description ?? undefined,
  };
}

function recordOf({ workspace, className, release }: Reissue): Released {
  const name = `${className}/${release}`;
  if (listReleases(workspace, className).includes(name))
    return readRecord(workspace, 'releases', [className, String(release)]).facts as unknown as Released;
  throw new WavesError(
    'nothing-before',
    `release ${name} is not on record`,
    `those that are: fieldseal ledger list, kind sealed; or the folder releases/${className}`,
  );
}

/** What a release is made of beside its image is not kept here. */
function requirePlain(
  { className, release }: Reissue,
  { components = [], dependencies = [] }: Released,
): void {
  if (components.length + dependencies.length === 0) return;
  throw new WavesError(
    'not-possible',
    `release ${className}/${release} has further components or dependencies; it is not sealed again by itself`,
    'seal it again with all of them: fieldseal seal --component ... --dependency ...',
  );
}

async function requireSame({ className, release, images }: Reissue, record: Released): Promise<void> {
  const expected = record.images.map(({ source }) => source);
  if (images.length !== expected.length)
    throw new WavesError(
      'image-differs',
      `release ${className}/${release} was sealed from ${expected.length} files, and ${images.length} are given`,
      `give ${expected.map(({ file }) => file).join(' and ')}`,
    );
  for (const [i, { path }] of images.entries()) {
    if ((await sha256Of(path)) === expected[i]!.sha256) continue;
    throw new WavesError(
      'image-differs',
      `${path} is not the file that release ${className}/${release} was sealed from (SHA-256 ${expected[i]!.sha256})`,
      `give that file, ${expected[i]!.file}; what was never fielded is a new release: fieldseal seal`,
    );
  }
}

async function sha256Of(path: string): Promise<string> {
  const source = fileSource(path);
  try {
    return toHex(await source.sha256());
  } finally {
    source.close();
  }
}

function requireFloor({ workspace, className, release }: Reissue, record: Released, version: number): void {
  const floor = floorOf(workspace, className);
  if (version >= floor.version) return;
  throw new WavesError(
    'floor-forbids',
    `release ${className}/${release} has security version ${record.security_version}, and ${floor.by} has ${floor.version}: ` +
      'units that took that refuse this code, and start nothing below it. The floor was raised over a flaw that must not come back',
    `seal a corrected image instead; only where this code does not have that flaw: --security-version ${floor.version}`,
  );
}

/** The highest security version that units may hold, and by what. */
function floorOf(workspace: Workspace, className: string): { version: number; by: string } {
  const policy = { version: latestPolicy(workspace, className).securityVersion, by: 'the last trust update' };
  return listReleases(workspace, className)
    .map((name) => {
      const { security_version } = readRecord(workspace, 'releases', name.split('/')).facts as JsonObject;
      return { version: Number(security_version) || 0, by: `release ${name}` };
    })
    .reduce((highest, each) => (each.version > highest.version ? each : highest), policy);
}
