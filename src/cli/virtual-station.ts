import { concat, toHex } from '../bytes/index.ts';
import { randomBytes, sha256 } from '../crypto/index.ts';
import {
  generatePrivateKey,
  type KeyAccess,
  type KeyDescription,
  protectUnitKey,
  protectUnitSecret,
  publicHalf,
  type SecretSource,
  withUnwrappedKey,
} from '../keys/index.ts';
import {
  ProvisionError,
  type ProvisionJob,
  type StationPorts,
  type UnitSecrets,
  virtualAnchorStore,
} from '../provision/index.ts';
import {
  beginLife,
  createUnitFile,
  openUnit,
  programRecovery,
  type UnitRecord,
  type UnitSecret,
  unitFileLayout,
  unwrappersOf,
} from '../unit/index.ts';
import { noise } from '../virtual/index.ts';
import { createUnitStore, fileSource } from '../workspace/index.ts';
import { firstFacts } from './first-firmware.ts';

/** What the virtual station has at hand. */
export interface StationBench {
  readonly job: ProvisionJob;
  readonly secrets: SecretSource;
  /** The station's wrapping key, where the job carries keys. */
  readonly station: { readonly description: KeyDescription; readonly access: KeyAccess } | undefined;
  /** Where the unit file of a serial number goes. */
  unitPath(serial: string): string;
  readonly first: { readonly envelope: string; readonly image: string | undefined } | undefined;
  readonly recovery: string | undefined;
}

const MARKS_KEY_LENGTH = 32;

/** The ports of a station that provisions virtual units. */
export function virtualStation(bench: StationBench): StationPorts {
  requireFirst(bench);
  const keepSecret = (secret: Uint8Array, name: string) => keep(bench, secret, name, protectUnitSecret);
  return {
    anchorStore: virtualAnchorStore,
    makeUnitKey() {
      const key = generatePrivateKey('p256');
      return {
        spki: publicHalf(key),
        privateKey: new Uint8Array(key.export({ format: 'der', type: 'pkcs8' })),
      };
    },
    keepSecret,
    keepPrivateKey: (info, name) => keep(bench, info, name, protectUnitKey),
    unwrap: ({ wrapped, check_value }) => unwrap(bench, wrapped, check_value),
    program: async (record, held) => {
      const marksKey = randomBytes(MARKS_KEY_LENGTH);
      const kept = await keepSecret(marksKey, 'unit marks key');
      return programUnit(bench, record, held, marksKey, kept);
    },
    now: () => new Date(),
  };
}

async function keep(
  { job, secrets }: StationBench,
  secret: Uint8Array,
  name: string,
  protect: (secret: Uint8Array, name: string, secrets: SecretSource) => Promise<string>,
): Promise<UnitSecret> {
  return job.trial ? { trial_hex: toHex(secret) } : { pem: await protect(concat(secret), name, secrets) };
}

function unwrap({ job, station }: StationBench, wrapped: string, checkValue: string): Promise<Uint8Array> {
  if (!station || !job.station) {
    throw new ProvisionError(
      'station-key-wrong',
      `The job's keys are wrapped for the station ${job.station?.name ?? '(none)'}, and its key is not at hand.`,
      'Run the job in the workspace that holds that station key, or issue it again for this station.',
    );
  }
  const { name, check_value } = job.station;
  const travelling = {
    algorithm: 'A256KW',
    wrapped,
    check_value: checkValue,
    wrapping_key: { name, check_value },
  } as const;
  return withUnwrappedKey(travelling, station.description, station.access, (secret) => concat(secret));
}

/** The first firmware at hand must be the one that the job names, and none where it names none. */
function requireFirst({ job, first }: StationBench): void {
  const found = firstFacts(first?.envelope)?.envelope_sha256 ?? null;
  if (found === (job.first?.envelope_sha256 ?? null)) return;
  throw new ProvisionError(
    'first-firmware-wrong',
    job.first
      ? 'The envelope at hand is not the first firmware that the job names.'
      : 'The job names no first firmware.',
    'Give the file that "batch issue --first" was given, or issue the job again.',
  );
}

async function programUnit(
  bench: StationBench,
  record: UnitRecord,
  held: UnitSecrets,
  marksKey: Uint8Array,
  keptMarksKey: UnitSecret,
): Promise<string | null> {
  const recovery = bench.recovery === undefined ? undefined : readWhole(bench.recovery);
  const store = await createUnitStore(
    bench.unitPath(record.serial),
    unitFileLayout(record.memory, record.attestation).size,
  );
  try {
    const file = createUnitFile(store, {
      record,
      marksKey: keptMarksKey,
      ...(recovery && { recovery: { size_bytes: recovery.length, digest: toHex(sha256(recovery)) } }),
    });
    const flash = file.flash({ noise });
    if (recovery) programRecovery(file, flash, recovery);
    beginLife(record, flash, marksKey);
    const unit = openUnit({
      record,
      macKeys: held.macKeys,
      unwrappers: unwrappersOf(record, held),
      marksKey,
      flash,
      recovery: file.recoveryImage,
      memory: file.memory,
    });
    if (!bench.first) return null;
    installFirst(unit, bench.first);
    return bench.job.first!.envelope_sha256;
  } finally {
    store.flush();
    store.close();
  }
}

function readWhole(path: string): Uint8Array {
  const source = fileSource(path);
  try {
    return source.read(0, source.size);
  } finally {
    source.close();
  }
}

/** Installs, starts and keeps the first firmware, as the production line does after its test. */
function installFirst(unit: ReturnType<typeof openUnit>, first: NonNullable<StationBench['first']>): void {
  const envelope = fileSource(first.envelope);
  const image = first.image === undefined ? undefined : fileSource(first.image);
  try {
    const verdicts = [
      () => unit.install({ envelope, image, now: new Date() }),
      () => unit.start(),
      () => unit.keep(),
    ];
    for (const act of verdicts) {
      const { verdict, refusal } = act();
      if (verdict === 'accepted') continue;
      throw new ProvisionError(
        'first-firmware-wrong',
        `The unit does not take the first firmware: ${refusal ? `${refusal.code}, ${refusal.says}` : 'its image is absent'}.`,
        refusal?.next ?? 'Give the image of the detached envelope with --image.',
      );
    }
  } finally {
    envelope.close();
    image?.close();
  }
}
