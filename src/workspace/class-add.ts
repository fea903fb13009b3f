import { equal } from '../bytes/index.ts';
import {
  type Core,
  defaultMemoryMap,
  formatAddress,
  type MemoryMap,
  type Region,
  type SlotShape,
} from '../image/index.ts';
import { formatUuid } from '../suit/index.ts';
import type { Scheme } from '../unit/index.ts';
import { startCounter } from './counter.ts';
import { classFromText, classPath, type DeviceClass, listClasses, readClass } from './device-class.ts';
import { WorkspaceError } from './errors.ts';
import { appendEntry } from './ledger.ts';
import { defaultProfile, findProfile, PROFILES, type Profile } from './profiles.ts';
import { CLASS_FORMAT } from './schema.ts';
import type { Workspace } from './workspace.ts';

/** What a new class is made from; whatever is left out has a sensible default. */
export interface ClassOptions {
  name: string;
  model: string;
  hardwareRevision?: string;
  scheme: Scheme;
  /** Standard name of an algorithm profile. */
  profile?: string;
  core?: Core;
  /** Bytes. */
  slotSize?: number;
  shape?: SlotShape;
  clock?: boolean;
}

/**
 * Writes classes/NAME.yaml, a text meant to be edited, and starts the class's sequence counter. Throws
 * `WorkspaceError` name-invalid, name-taken, wrong-value and disk trouble; nothing is left then.
 */
export async function addClass(workspace: Workspace, options: ClassOptions): Promise<DeviceClass> {
  const file = classPath(workspace, options.name);
  if (workspace.files.exists(file)) throw nameTaken(options.name);
  const profile = chooseProfile(options);
  const text = classYaml(options, profile);
  const deviceClass = await classFromText(workspace, options.name, file, text);
  await refuseSharedIdentifier(workspace, deviceClass);
  if (!workspace.files.createNew(file, text)) throw nameTaken(options.name);
  appendEntry(workspace, 'class-added', {
    class: options.name,
    class_id: formatUuid(deviceClass.classId),
    scheme: deviceClass.scheme,
    profile: profile.name,
  });
  startCounter(workspace, options.name);
  return deviceClass;
}

function nameTaken(name: string): WorkspaceError {
  return new WorkspaceError('name-taken', `there is a class ${name} already; it was left as it is`, {
    hint: `choose another name, or edit classes/${name}.yaml`,
  });
}

function chooseProfile(options: ClassOptions): Profile {
  if (options.profile === undefined) return defaultProfile(options.scheme);
  const profile = findProfile(options.profile);
  if (profile?.scheme === options.scheme) return profile;
  const fitting = PROFILES.filter(({ scheme }) => scheme === options.scheme).map(({ name }) => name);
  throw new WorkspaceError(
    'wrong-value',
    `${options.profile} is not a profile of the ${options.scheme} scheme`,
    { hint: `choose one of ${fitting.join(', ')}` },
  );
}

// Two classes that answer to one identifier would take each other's payloads.
async function refuseSharedIdentifier(workspace: Workspace, added: DeviceClass): Promise<void> {
  for (const name of listClasses(workspace)) {
    const other = await readClass(workspace, name);
    if (!equal(other.classId, added.classId)) continue;
    throw new WorkspaceError(
      'name-taken',
      `class ${name} has the same identifier ${formatUuid(other.classId)}: units of either would take payloads of the other`,
      { hint: 'give another model text, or tell the two apart with --hardware-revision' },
    );
  }
}

const SHAPE_NOTES: Readonly<Record<SlotShape, string>> = {
  remapped: 'banks that the hardware exchanges: one image, linked for link_address',
  'position-independent': 'one image that runs wherever it lies',
  linked: 'two images, one linked for each slot',
  staged: 'one running slot, filled from a staging area; a recovery image beside it',
};

const POLICY_NOTE = `
# Which signatures units ask for; left out, one of the profile's algorithm. Author and approver, for example:
# authentication: { rule: all, roles: [{ role: author }, { role: approver }] }
# And what each signer may have done; left out, everything:
# rights: [{ role: author, components: [main], commands: [fetch, invoke] }]
# Another maker of components of the class; its root comes in by "fieldseal author add":
# authors: [{ name: radio-maker, components: [radio], vendor_domain: radio.example, model: MR-7 }]
`;

function classYaml(options: ClassOptions, profile: Profile): string {
  const core = options.core ?? 'cortex-m';
  const map = defaultMemoryMap({
    core,
    ...(options.slotSize !== undefined && { slotSize: options.slotSize }),
    ...(options.shape !== undefined && { shape: options.shape }),
    policy: options.scheme === 'asymmetric',
  });
  const revision =
    options.hardwareRevision === undefined
      ? ''
      : `# A second, narrower identifier: payloads name model and revision.\nhardware_revision: ${JSON.stringify(options.hardwareRevision)}\n`;
  return `# Device class ${options.name}. After an edit: fieldseal class check ${options.name}
# Texts stand in quotes, so that YAML reads neither 1.10 nor 0012 as a number.
format: ${CLASS_FORMAT}

# The class identifier is made from this text: never change it once units are in the field.
model: ${JSON.stringify(options.model)}
${revision}
# asymmetric: units hold the root's public key. symmetric: every unit holds the class key, so one leak opens all.
scheme: ${options.scheme}
profile: ${profile.name}

# Whether units have a trusted clock. Without one, dates are judged when a payload is sealed, not on the unit.
clock: ${options.clock ?? false}

# What is encrypted: none, image (when sealed), message (when sent), both; recipients: units, cohorts or class.
confidentiality: none   # recipients: ${recipientsOf(profile)}

${memoryYaml(map)}
# How many people, the one who asks not among them, must approve a release before it is sealed.
# Left out: 1 in a production workspace, 0 in a trial.
# approvals: 1

# What "fieldseal plan" reckons with; nothing here changes what units do. For example:
# plan: { consumer: true, units: 1200, life_years: 12, releases_per_year: 4, support_until: "2034-06-30" }

certificate_policy:
  # seal_within_days: 730   # how long after its start a signer certificate may seal
  minimum_signer_generation: 0

sequence:
  jump_limit: 1000   # a larger step of the sequence number needs an explicit yes

# Over what units are reached, for fieldseal cost: names that fieldseal figures lists, or your own in figures.yaml.
# links: [lorawan-eu-dr0, nb-iot]

trial_attempts: 3   # tries of an image that falls back, before a unit refuses it

# How units check the code that runs while it runs, for example one block a minute. What they do then is for the safety
# standard of your product to say: report, restart (into verification) or stop.
# attestation: { self_check: { method: blocks, slice: 4KiB, every_seconds: 60, reaction: report } }

# Cautions of your product, shown whenever a payload is sealed or installed, for example:
#   - "Install only while the vents are closed and mains power is off."
cautions: []
${options.scheme === 'asymmetric' ? POLICY_NOTE : ''}`;
}

/** What stands in the example: units have a key of their own where the profile agrees on keys. */
function recipientsOf({ keyDistribution }: Profile): string {
  return keyDistribution.kind === 'agreement' ? 'units' : 'cohorts';
}

function memoryYaml(map: MemoryMap): string {
  const lines = [
    '# Check every figure against the data sheet of your part and your linker script.',
    'memory:',
    `  shape: ${map.shape}   # ${SHAPE_NOTES[map.shape]}`,
    `  core: ${map.core}${map.core === 'cortex-m' ? '   # the vector table of an image is checked' : ''}`,
  ];
  if (map.link_address !== undefined) lines.push(`  link_address: ${formatAddress(map.link_address)}`);
  lines.push('  slots:', ...map.slots.map((slot) => `    - { name: ${slot.name}, ${regionYaml(slot)} }`));
  if (map.recovery) lines.push(`  recovery: { ${regionYaml(map.recovery)} }`);
  lines.push(
    `  envelopes: { ${regionYaml(map.envelopes)} }   # one part per slot, for the check at start-up`,
    `  state: { ${regionYaml(map.state)} }   # the unit's own marks`,
    ...(map.policy ? [`  policy: { ${regionYaml(map.policy)} }   # what trust updates say`] : []),
    ...(map.boot_log
      ? [`  boot_log: { ${regionYaml(map.boot_log)} }   # records of starts and self-checks`]
      : []),
    '  flash:',
    `    erase_page: ${yamlSize(map.flash.erase_page)}`,
    `    write_unit: ${map.flash.write_unit}   # bytes; each can be programmed once per erase`,
    `    erased_value: 0x${map.flash.erased_value.toString(16)}`,
    `    endurance: ${map.flash.endurance}   # erase cycles`,
    `  ram: { ${regionYaml(map.ram)} }`,
    '  # delta_window: 8KiB   # RAM for one window of an update by delta; left out, units take no deltas',
    '  # Images of further components, two areas each: - { name: radio, areas: [{ address: 0x90000000, size: 64KiB }, …] }',
    '  # components: []',
    '  # Ranges of an image file that stay behind, such as option bytes: - { name: option-bytes, address: 0x1fffc000, size: 16 }',
    '  leave_out: []',
    '',
  );
  return lines.join('\n');
}

function regionYaml({ address, size }: Region): string {
  return `address: ${formatAddress(address)}, size: ${yamlSize(size)}`;
}

function yamlSize(bytes: number): string {
  for (const [unit, factor] of [
    ['GiB', 2 ** 30],
    ['MiB', 2 ** 20],
    ['KiB', 2 ** 10],
  ] as const) {
    if (bytes >= factor && bytes % factor === 0) return `${bytes / factor}${unit}`;
  }
  return String(bytes);
}
