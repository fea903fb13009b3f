import * as z from 'zod';
import { DELTA_LIMITS } from '../delta/index.ts';
import { IMAGE_LIMITS, parseSize } from '../image/index.ts';
import {
  GUARDED_COMMANDS,
  type GuardedCommand,
  POLICY_ALGORITHMS,
  REACTIONS,
  SELF_CHECK_LIMITS,
  SELF_CHECK_METHODS,
  UNIT_LIMITS,
} from '../unit/index.ts';
import { SIGNER_ROLE } from '../x509/index.ts';
import { PROFILES } from './profiles.ts';

/** Formats of the files that people write or read in a workspace. */
export const CLASS_FORMAT = 'fieldseal.device-class/1';
export const WORKSPACE_FORMAT = 'fieldseal.workspace/1';

const ADDRESS_TEXT = /^0x[0-9a-fA-F]{1,13}$/;
const SIZE_TEXT = /^(?:0x[0-9a-fA-F]{1,13}|[0-9]{1,15} ?(?:B|KiB|MiB|GiB|TiB)?)$/;

const text = (about: string, example: string) =>
  z
    .string({ error: 'text; put it in quotes so that YAML does not read it as a number' })
    .min(1, { error: 'text of at least one character' })
    .max(128, { error: 'text of at most 128 characters' })
    .refine((value) => !/\p{Cc}/u.test(value), { error: 'text without control characters' })
    .meta({ description: about, examples: [example] });

const whole = (about: string, minimum: number, maximum: number, example: number) =>
  z
    .int({ error: `a whole number from ${minimum} to ${maximum}, without quotes` })
    .min(minimum, { error: `at least ${minimum}` })
    .max(maximum, { error: `at most ${maximum}` })
    .meta({ description: about, examples: [example] });

const switchable = (about: string) =>
  z.boolean({ error: 'true or false' }).meta({ description: about, examples: [false] });

const oneOf = <const T extends readonly [string, ...string[]]>(
  about: string,
  values: T,
  example: T[number],
) =>
  z.enum(values, { error: `one of ${values.join(', ')}` }).meta({ description: about, examples: [example] });

const group = <T extends z.core.$ZodLooseShape>(about: string, shape: T) =>
  z
    .strictObject(shape, {
      error: (issue) => (issue.code === 'invalid_type' ? 'a group of fields' : undefined),
    })
    .meta({
      description: about,
    });

const count = (expected: string) => z.int({ error: expected }).min(0, { error: expected });

const ADDRESS = 'an address: hexadecimal with 0x, or a whole number of at least 0';
const SIZE = 'a size: whole bytes, or text with a binary unit (KiB, MiB, GiB)';

const address = z
  .union([count(ADDRESS), z.string().regex(ADDRESS_TEXT, { error: ADDRESS })], { error: ADDRESS })
  .transform((value) => Number(value))
  .meta({ description: 'Address in the device’s address space.', examples: ['0x08000000'] });

const size = z
  .union([count(SIZE), z.string().regex(SIZE_TEXT, { error: SIZE })], { error: SIZE })
  .transform((value) => (typeof value === 'number' ? value : parseSize(value)))
  .meta({ description: 'Size in bytes, or with a binary unit.', examples: ['256KiB'] });

const region = (about: string) => group(about, { address, size });
const namedRegion = (about: string) => group(about, { name: text('Name of the range.', 'A'), address, size });

const flash = group('Flash geometry, as the data sheet of the part states it.', {
  erase_page: size.meta({ description: 'Smallest area that can be erased.', examples: ['4KiB'] }),
  write_unit: size.meta({
    description: 'Smallest area that can be programmed, once per erase.',
    examples: [8],
  }),
  erased_value: whole('What an erased byte reads as.', 0, 255, 255),
  endurance: whole('Erase cycles that the part is specified for.', 1, 1e9, 10_000),
});

const few = <T extends z.ZodType>(about: string, item: T, most: number) =>
  z
    .array(item, { error: 'a list' })
    .min(1, { error: 'one entry at least' })
    .max(most, { error: `at most ${most} entries` })
    .meta({ description: about });

const memory = group('Where images, envelopes and marks lie on a unit.', {
  shape: oneOf(
    'How an image gets to run.',
    ['remapped', 'position-independent', 'linked', 'staged'],
    'remapped',
  ),
  core: oneOf(
    'Processor core; Cortex-M images begin with a vector table that is checked.',
    ['cortex-m', 'none'],
    'cortex-m',
  ),
  link_address: address.optional(),
  slots: z
    .array(namedRegion('One slot.'), { error: 'a list of slots' })
    .meta({ description: 'The two slots; for the shape staged the running slot, then the staging area.' }),
  recovery: region('Recovery image, never replaced in the field.').optional(),
  envelopes: region('Holds each slot’s envelope for the check at start-up; split evenly.'),
  state: region('The unit’s own marks; at least two erase pages.'),
  components: few(
    'Further components that every release brings, such as the image of a radio co-processor.',
    group('One component.', {
      name: text('Its identifier: segments parted by /.', 'radio'),
      areas: z.array(region('One area.'), { error: 'a list of two areas' }).meta({
        description: 'Two areas, one for each slot: what lies there goes with the image in that slot.',
      }),
      started: switchable(
        'Whether the unit starts it, before its own image; else it is stored, verified and handed over.',
      ).default(false),
    }),
    IMAGE_LIMITS.components.value,
  ).optional(),
  policy: region(
    'What trust updates say, twice: two halves of whole erase pages. Without it units take none.',
  ).optional(),
  boot_log: region(
    'Records of starts and self-checks; at least two erase pages. Left out: none are kept.',
  ).optional(),
  flash,
  ram: region('Where the initial stack pointer must lie.'),
  leave_out: z
    .array(namedRegion('One range.'), { error: 'a list of ranges' })
    .default([])
    .meta({ description: 'Ranges of an image file that are left out, such as option bytes.' }),
  delta_window: size
    .refine((bytes) => bytes <= DELTA_LIMITS.targetWindow.value, { error: 'at most 1MiB' })
    .meta({
      description:
        'RAM that a unit sets aside to make one window of an image from a delta. Left out: it takes no deltas.',
      examples: ['8KiB'],
    })
    .optional(),
});

const DATE = 'a date such as 2034-06-30, in quotes';
const plan = group('What the trust plan reckons with. Nothing here changes what units do.', {
  consumer: switchable('Whether consumers get these units (ETSI EN 303 645).').optional(),
  units: whole('How many units there will be.', 1, 1e9, 1200).optional(),
  life_years: whole('How long a unit stays in use.', 1, 60, 12).optional(),
  releases_per_year: whole('How many releases a year are meant.', 1, 366, 4).optional(),
  image_size: size.meta({ description: 'Size of an image, for estimates.', examples: ['100KiB'] }).optional(),
  support_until: z
    .string({ error: DATE })
    .refine((value) => /^\d{4}-\d\d-\d\d$/.test(value) && !Number.isNaN(Date.parse(value)), { error: DATE })
    .meta({ description: 'Until when security updates are promised.', examples: ['2034-06-30'] })
    .optional(),
  mcu: text(
    'Core whose published verify times hold (fieldseal plan lists them).',
    'cortex-m4-64-portable',
  ).optional(),
});

const authors = few(
  'Other makers whose components units hold, each with a root of its own (fieldseal author add).',
  group('One author.', {
    name: text('Name under which its root was taken in.', 'marl'),
    components: few(
      'Components of the memory map that are its own: its signers may change them, and nobody else.',
      text('A component, or a prefix of some.', 'radio'),
      IMAGE_LIMITS.components.value,
    ),
    vendor_domain: text('Its domain: its vendor identifier is made from it.', 'marl.example'),
    model: text('Its model text: its class identifier is made from it.', 'MR-7'),
    hardware_revision: text('Its hardware revision, where it names one.', 'B').optional(),
    minimum_signer_generation: whole('Lowest generation of its signers.', 0, 2 ** 31 - 1, 0).default(0),
  }),
  IMAGE_LIMITS.components.value,
);

const partOf = group('For firmware that goes into units of others, as one of their components.', {
  component: text('What those units call the component: segments parted by /.', 'radio'),
  started: switchable('Whether those units start it.').default(false),
});

const ROLE = 'a role: lower-case letters, digits and inner dashes, a letter first, at most 32';
const role = z
  .string({ error: ROLE })
  .regex(SIGNER_ROLE, { error: ROLE })
  .meta({ description: 'Role in the signer’s certificate (signer create --role).', examples: ['approver'] });
const rootName = text('Name of a root of this workspace.', 'root');
const keysOf = <T extends string>(table: Readonly<Record<T, unknown>>) => Object.keys(table) as [T, ...T[]];

const authentication = group('Which signatures units ask for. Left out: one, of the profile’s algorithm.', {
  rule: oneOf(
    'How many of the roles must sign, each with a key of its own.',
    ['any', 'all', 'at_least'],
    'all',
  ),
  count: whole('With at_least: how many.', 1, UNIT_LIMITS.demands.value, 2).optional(),
  roles: few(
    'What each signer must be.',
    group('One signer. What is left out is not asked for.', {
      role: role.optional(),
      algorithm: oneOf(
        'Signature algorithm; left out: the profile’s.',
        keysOf(POLICY_ALGORITHMS),
        'HSS-LMS',
      ).optional(),
      anchors: few('Roots at one of which its path must end.', rootName, 8).optional(),
      scope: oneOf(
        'What its certificate must name: the class itself, or the vendor.',
        ['class', 'vendor'],
        'class',
      ).optional(),
    }),
    UNIT_LIMITS.demands.value,
  ),
});

const COMPONENT = 'segments of a component identifier, parted by /';
const rights = few(
  'Access control list of the units: what each signer may have done. Left out: everything.',
  group('One row. What is left out limits nothing.', {
    role: role.optional(),
    fingerprint: z
      .string({ error: 'a fingerprint in lower-case hexadecimal' })
      .regex(/^[0-9a-f]{64}$/, { error: '64 lower-case hexadecimal digits' })
      .meta({ description: 'SHA-256 of the signer’s SubjectPublicKeyInfo.', examples: ['00'.repeat(32)] })
      .optional(),
    anchor: rootName.optional(),
    components: few(
      'Prefixes of component identifiers.',
      z
        .string({ error: COMPONENT })
        .regex(/^[^/]+(?:\/[^/]+)*$/, { error: COMPONENT })
        .max(128, { error: 'at most 128 characters' })
        .meta({ description: 'Segments parted by /.', examples: ['main'] }),
      UNIT_LIMITS.rights.value,
    ).optional(),
    commands: few(
      'Commands that change or start a component.',
      oneOf('One command.', keysOf<GuardedCommand>(GUARDED_COMMANDS), 'fetch'),
      8,
    ).optional(),
  }),
  UNIT_LIMITS.rights.value,
);

const { leastSlice, mostSlice, mostSeconds } = SELF_CHECK_LIMITS;
const SLICE = `a size from ${leastSlice} B to 1 MiB`;

const attestation = group(
  'What may be measured on units, and how they check themselves. Left out: all code, no check.',
  {
    regions: few(
      'Areas that may be measured for a challenge; left out: every slot that runs code, and the recovery image.',
      text('Name of a slot, or recovery.', 'A'),
      8,
    ).optional(),
    self_check: group('Periodic check of the code that runs. Left out: none.', {
      method: oneOf(
        'blocks: digests of blocks, taken at the verified start; whole: the image in slices against the sealed digest.',
        SELF_CHECK_METHODS,
        'blocks',
      ).default('blocks'),
      slice: size
        .refine((bytes) => bytes >= leastSlice && bytes <= mostSlice, { error: SLICE })
        .default(4096)
        .meta({ description: 'Bytes that are read at one tick at most.', examples: ['4KiB'] }),
      every_seconds: whole('Seconds from one tick to the next.', 1, mostSeconds, 60),
      reaction: oneOf(
        'What a unit does when code has changed: report it, restart into verification, or stop. Which one is safe, the safety standard of the product decides.',
        REACTIONS,
        'report',
      ).default('report'),
    }).optional(),
  },
);

/** Schema of classes/NAME.yaml. */
export const deviceClassSchema = group('A device class of a fieldseal workspace.', {
  format: z
    .literal(CLASS_FORMAT, { error: CLASS_FORMAT })
    .meta({ description: 'Format of this file and its version.', examples: [CLASS_FORMAT] }),
  model: text(
    'Model text; the class identifier is UUIDv5 of it under the vendor’s (SUIT manifest, class identifier).',
    'VC-2',
  ),
  hardware_revision: text('Hardware revision: a second, narrower class identifier.', 'B').optional(),
  scheme: oneOf('How payloads are authenticated.', ['asymmetric', 'symmetric'], 'asymmetric'),
  profile: oneOf(
    'Algorithm profile by its name in draft-ietf-suit-mti.',
    PROFILES.map((entry) => entry.name) as [string, ...string[]],
    'suit-sha256-esp256-ecdh-a128ctr',
  ).optional(),
  clock: switchable(
    'Whether units have a trusted clock; without one, dates are not judged on the unit.',
  ).default(false),
  confidentiality: oneOf('What is encrypted.', ['none', 'image', 'message', 'both'], 'none').default('none'),
  recipients: oneOf(
    'Whom content keys are sent to: each unit by its own key, each cohort or the whole class by a shared one.',
    ['units', 'cohorts', 'class'],
    'units',
  ).optional(),
  approvals: whole(
    'How many people, the one who asks not among them, must approve a release before it is sealed. Left out: 1 in a production workspace, 0 in a trial.',
    0,
    8,
    1,
  ).optional(),
  authentication: authentication.optional(),
  rights: rights.optional(),
  attestation: attestation.optional(),
  memory,
  plan: plan.optional(),
  authors: authors.optional(),
  part_of: partOf.optional(),
  certificate_policy: group('What a signer certificate must satisfy when a payload is sealed.', {
    seal_within_days: whole(
      'Days after its start during which a certificate may seal.',
      1,
      36_500,
      730,
    ).optional(),
    minimum_signer_generation: whole(
      'Lowest signer generation that may seal and that new units accept.',
      0,
      2 ** 31 - 1,
      0,
    ).default(0),
  }).prefault({}),
  sequence: group('The sequence counter of the class.', {
    jump_limit: whole(
      'Largest step of the sequence number without an explicit yes.',
      1,
      Number.MAX_SAFE_INTEGER,
      1000,
    ).default(1000),
  }).prefault({}),
  links: few(
    'Links over which units are reached, by name, for the cost of a release (fieldseal figures lists them).',
    text('Name of a link.', 'lorawan-eu-dr0'),
    16,
  ).optional(),
  trial_attempts: whole(
    'How often a unit tries an image that falls back before it refuses it.',
    1,
    100,
    3,
  ).default(3),
  cautions: z
    .array(text('One caution.', 'Install only while the vents are closed.'), { error: 'a list of texts' })
    .default([])
    .meta({
      description: 'Cautions of the product, shown whenever a payload of this class is sealed or installed.',
    }),
});

/** A class file as read: defaults filled in, sizes and addresses as numbers. */
export type ClassFile = z.output<typeof deviceClassSchema>;

const UUID = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/;
const uuid = (about: string) =>
  z
    .string({ error: 'a UUID in lower-case hexadecimal' })
    .regex(UUID, { error: 'a UUID in lower-case hexadecimal' })
    .meta({ description: about, examples: ['6ba7b810-9dad-11d1-80b4-00c04fd430c8'] });

/** Schema of fieldseal.yaml. */
export const workspaceSchema = group('A fieldseal workspace.', {
  format: z
    .literal(WORKSPACE_FORMAT, { error: WORKSPACE_FORMAT })
    .meta({ description: 'Format of this file and its version.', examples: [WORKSPACE_FORMAT] }),
  vendor_domain: text('Domain name of the vendor.', 'hollinridge.example'),
  vendor_id: uuid('Vendor identifier: UUIDv5 of the domain in the DNS name space (RFC 9562).'),
  kind: oneOf(
    'Whether keys and payloads are for trial or for fielded units.',
    ['trial', 'production'],
    'trial',
  ),
  lineage: uuid('Random identifier of this workspace, stated again in the first ledger entry.'),
  created: text('When the workspace was made (RFC 3339, UTC).', '2026-01-31T09:00:00.000Z'),
});

/** fieldseal.yaml as read. */
export type WorkspaceFile = z.output<typeof workspaceSchema>;
