import {
  type AttestationBooks,
  AttestationError,
  type AttestedRelease,
  type AttestedUnit,
  type MadeChallenge,
  openToken,
} from '../attestation/index.ts';
import { type ByteSource, fromHex, toHex } from '../bytes/index.ts';
import { type SecretSource, withMacSecret } from '../keys/index.ts';
import { unitMacKey } from '../report/index.ts';
import { formatUuid, parseUuid } from '../suit/index.ts';
import {
  classKeys,
  findChallenge,
  keyPaths,
  listReleases,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';
import { lastBootCount } from './heard.ts';
import { type UnitOnRecord, unitWithDevice } from './unit-on-record.ts';

/** Where an answer is appraised, and how keys of its class are opened. */
export interface VerifierSession {
  readonly workspace: Workspace;
  readonly secrets: SecretSource;
}

interface ReleaseFacts {
  readonly class: string;
  readonly version: string;
  readonly sequence_number: string;
  readonly device_id: string | null;
  readonly manifest_digest: string;
  readonly images: readonly { readonly slot: string; readonly digest: string }[];
}

/** What the caller gives beside the records. */
export interface GivenReferences {
  image(digest: Uint8Array, unit: UnitOnRecord): ByteSource | undefined;
  readonly recovery: ByteSource | undefined;
  readonly leastNumber: bigint | undefined;
}

/** The records that a token is appraised against. A key of the class is opened only for a token that has a MAC. */
export async function openAttestationBooks(
  session: VerifierSession,
  bytes: Uint8Array,
  given: GivenReferences,
): Promise<AttestationBooks> {
  const { workspace } = session;
  const sender = openOrNothing(bytes);
  const deviceId = sender?.deviceId && formatUuid(sender.deviceId);
  const unit = deviceId === undefined ? undefined : unitWithDevice(workspace, deviceId);
  const macKey = unit && sender?.message.kind === 'mac0' ? await macKeyOf(session, unit) : undefined;
  const known: AttestedUnit | undefined = unit && {
    ...unit,
    macKey,
    lastBootCount: lastBootCount(workspace, unit),
  };
  const releases = releasesOf(workspace);
  return {
    unit: (id) => (known && formatUuid(id) === known.deviceId ? known : undefined),
    challenge: (nonce) => madeChallenge(workspace, nonce),
    release: (digest) => releaseWith(releases, toHex(digest)),
    image: (digest) => unit && given.image(digest, unit),
    recovery: given.recovery,
    leastNumber: () => given.leastNumber ?? (unit && newestNumber(releases, unit)),
    now: workspace.now(),
  };
}

function openOrNothing(bytes: Uint8Array) {
  try {
    return openToken(bytes);
  } catch (error) {
    if (error instanceof AttestationError) return undefined;
    throw error;
  }
}

function madeChallenge(workspace: Workspace, nonce: Uint8Array): MadeChallenge | undefined {
  const found = findChallenge(workspace, nonce);
  if (!found) return undefined;
  const { region } = found;
  return {
    deviceId: parseUuid(found.device_id),
    region: 'name' in region ? region : { address: region.address, length: region.size_bytes },
    used: found.answered,
    expires: new Date(found.expires),
  };
}

function releasesOf(workspace: Workspace): ReleaseFacts[] {
  return listReleases(workspace).map(
    (name) => readRecord(workspace, 'releases', name.split('/')).facts,
  ) as unknown as ReleaseFacts[];
}

function releaseWith(releases: readonly ReleaseFacts[], digest: string): AttestedRelease | undefined {
  const facts = releases.find(({ manifest_digest }) => manifest_digest === digest);
  if (!facts) return undefined;
  const { images } = facts;
  return {
    className: facts.class,
    sequenceNumber: BigInt(facts.sequence_number),
    version: facts.version,
    imageDigest: (slot) => {
      const image = images.length === 1 ? images[0] : images.find((each) => each.slot === slot);
      return image && fromHex(image.digest);
    },
  };
}

/** The highest number that was sealed for this unit: for its class, or for it alone. */
function newestNumber(releases: readonly ReleaseFacts[], unit: UnitOnRecord): bigint | undefined {
  return releases
    .filter((each) => each.class === unit.className && [null, unit.deviceId].includes(each.device_id))
    .map(({ sequence_number }) => BigInt(sequence_number))
    .reduce<bigint | undefined>(
      (most, number) => (most !== undefined && most > number ? most : number),
      undefined,
    );
}

/** The unit's own MAC key, made from the key of its class or cohort. Throws `KeyError`, key-custody for one in a token. */
async function macKeyOf(
  { workspace, secrets }: VerifierSession,
  unit: UnitOnRecord,
): Promise<Uint8Array | undefined> {
  const shared = classKeys(workspace, unit.className).find(({ description }) =>
    unit.macKeyIds.includes(description.fingerprint),
  );
  if (!shared) return undefined;
  const { description } = shared;
  const classId = parseUuid(unit.classIds.at(-1)!);
  const access = {
    file: keyPaths(workspace, description.name).secret,
    secrets,
    production: workspace.kind === 'production',
  };
  return withMacSecret(description, access, (secret) =>
    unitMacKey('unit-attestation-key', secret, classId, parseUuid(unit.deviceId)),
  );
}
