import * as z from 'zod';
import type { MemoryMap } from '../image/index.ts';
import type { AttestationRules, AuthenticationPolicy, SignerRight, UnitAuthor } from '../unit/index.ts';
import { ProvisionError, type ProvisionErrorCode } from './error.ts';

/** Format of a job file and its version. */
export const JOB_FORMAT = 'fieldseal.provision-job/1';
/** Most units in one job, so that one result file stays readable. */
export const MOST_UNITS = 100_000;
/** Bytes of a job, of its serial numbers, or of a result: about 2 KiB a unit. */
export const LARGEST_BATCH_FILE = 4096 * MOST_UNITS;
/** Longest serial number, in characters. */
const SERIAL = /^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/;

const hex = z.string().regex(/^(?:[0-9a-f]{2})+$/, 'pairs of lower-case hexadecimal digits');
const uuid = z.string().regex(/^[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}$/, 'a UUID in lower case');
const count = z.int().min(0);
const serial = z
  .string()
  .regex(SERIAL, 'a serial number: letters, digits, dot, dash, underscore; at most 64');
const region = z.strictObject({ address: count, size: count });
const named = z.strictObject({ name: z.string(), address: count, size: count });

const memory = z.strictObject({
  shape: z.enum(['remapped', 'position-independent', 'linked', 'staged']),
  core: z.enum(['cortex-m', 'none']),
  link_address: count.optional(),
  slots: z.array(named).length(2),
  recovery: region.optional(),
  components: z
    .array(z.strictObject({ name: z.string(), areas: z.array(region).length(2), started: z.boolean() }))
    .optional(),
  envelopes: region,
  state: region,
  policy: region.optional(),
  boot_log: region.optional(),
  flash: z.strictObject({ erase_page: count, write_unit: count, erased_value: count, endurance: count }),
  ram: region,
  leave_out: z.array(named),
});

/** What a unit holds its own key for. Each purpose has another key. */
export const UNIT_KEY_PURPOSES = ['attestation', 'report', 'decryption'] as const;

/** What these say in detail is judged with the unit record that they go into. */
const isObject = (value: unknown) => typeof value === 'object' && value !== null && !Array.isArray(value);

const jobSchema = z.strictObject({
  format: z.literal(JOB_FORMAT),
  batch: uuid,
  issued: z.iso.datetime(),
  trial: z.boolean(),
  vendor_domain: z.string(),
  vendor_id: uuid,
  class_name: z.string(),
  class_ids: z.array(uuid).min(1),
  scheme: z.enum(['asymmetric', 'symmetric']),
  profile: z.string(),
  clock: z.boolean(),
  /** Which signatures units ask for, and what each signer may have done: as in unit records. Absent where the class says nothing. */
  authentication: z.custom<AuthenticationPolicy>(isObject, 'a policy').optional(),
  rights: z.custom<readonly SignerRight[]>(Array.isArray, 'a list').optional(),
  /** What may be measured, and how units check themselves: as in unit records. */
  attestation: z.custom<AttestationRules>(isObject, 'attestation rules').optional(),
  memory,
  trial_attempts: count,
  /** Roots to write and lock: DER Name and DER SubjectPublicKeyInfo, hexadecimal. */
  anchors: z.array(
    z.strictObject({
      label: z.string(),
      name: hex,
      spki: hex,
      purpose: z.enum(['release', 'spare', 'dependency']),
      /** As in unit records: whose root it is, where it is another author's. */
      author: z.custom<UnitAuthor>(isObject, 'an author').optional(),
    }),
  ),
  /** Secret keys, each wrapped by RFC 3394 under the station's key; never in clear. */
  mac_keys: z.array(
    z.strictObject({
      id: hex,
      label: z.string(),
      cohort: z.string().optional(),
      wrapped: hex,
      check_value: hex,
    }),
  ),
  /** Key-encryption keys for encrypted images, wrapped in the same way. Absent where units take none. */
  content_keys: z
    .array(
      z.strictObject({
        id: hex,
        label: z.string(),
        cohort: z.string().optional(),
        wrapped: hex,
        check_value: hex,
      }),
    )
    .optional(),
  /** The station whose key wraps them. */
  station: z.strictObject({ name: z.string(), check_value: hex }).optional(),
  unit_keys: z.array(z.enum(UNIT_KEY_PURPOSES)),
  floors: z.strictObject({ sequence_number: z.string(), security_version: count, signer_generation: count }),
  denied_signers: z.array(hex),
  /** First firmware; null: the units leave empty, and their first install counts as production programming. */
  first: z.strictObject({ envelope_sha256: hex, size_bytes: count }).nullable(),
  serials: z.array(serial).min(1).max(MOST_UNITS),
  cautions: z.array(z.string()),
});

/** A provisioning job: everything a station needs for a batch of units, and no clear secret. */
export type ProvisionJob = z.infer<typeof jobSchema> & { readonly memory: MemoryMap };

/** Reads a job file. Throws `ProvisionError` job-invalid with the field. */
export function readJob(text: string): ProvisionJob {
  return readJson(jobSchema, text, 'job-invalid', 'job file') as ProvisionJob;
}

/** Reads a list of serial numbers, one a line; blank lines are skipped. Throws `ProvisionError` serials-invalid. */
export function readSerials(text: string): string[] {
  const lines = text.split(/\r?\n/).map((line) => line.trim());
  const serials = lines.filter((line) => line !== '');
  const wrong = serials.find((value) => !SERIAL.test(value));
  if (wrong !== undefined) {
    throw serialsInvalid(`line ${lines.indexOf(wrong) + 1}: "${wrong.slice(0, 80)}" is not a serial number`);
  }
  const repeated = serials.find((value, index) => serials.indexOf(value) !== index);
  if (repeated !== undefined) throw serialsInvalid(`the serial number ${repeated} stands in it twice`);
  if (serials.length === 0 || serials.length > MOST_UNITS) {
    throw serialsInvalid(`it holds ${serials.length} serial numbers; a batch has 1 to ${MOST_UNITS}`);
  }
  return serials;
}

/** One serial number. Throws `ProvisionError` serials-invalid. */
export function readSerial(text: string): string {
  if (SERIAL.test(text)) return text;
  throw new ProvisionError(
    'serials-invalid',
    `"${text.slice(0, 80)}" is not a serial number.`,
    'Use letters, digits, dot, dash and underscore, at most 64 characters, for example 0001.',
  );
}

function serialsInvalid(detail: string): ProvisionError {
  return new ProvisionError(
    'serials-invalid',
    `The list of serial numbers cannot be used: ${detail}.`,
    'One serial number a line: letters, digits, dot, dash and underscore, at most 64 characters, each once.',
  );
}

/** Reads a JSON file by its schema; names the field of the first mistake. */
export function readJson<T>(schema: z.ZodType<T>, text: string, code: ProvisionErrorCode, what: string): T {
  const hint =
    'It was changed or cut off on the way, or is another kind of file: fetch it again from where it was made.';
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch {
    throw new ProvisionError(code, `The ${what} is not JSON.`, hint);
  }
  const read = schema.safeParse(value);
  if (read.success) return read.data;
  const issue = read.error.issues[0]!;
  const field = issue.path.join('.') || 'the whole file';
  throw new ProvisionError(code, `The ${what} cannot be used: ${field}: ${issue.message}.`, hint);
}
