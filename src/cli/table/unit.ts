import { PART_OPTIONS } from '../part-options.ts';
import type { CommandSpec, OptionSpec } from '../spec.ts';

const CUT: readonly OptionSpec[] = [
  { name: 'cut-after', value: 'number', about: 'cut the power at this flash operation, counted from 0' },
  {
    name: 'cut-kind',
    value: 'kind',
    about: 'where in that operation (default: middle)',
    choices: ['before', 'middle', 'after'],
  },
];
const TRACE: OptionSpec = { name: 'trace', about: 'show every comparison, not only those of a refused step' };
const REPORT: readonly OptionSpec[] = [
  { name: 'report', value: 'file', about: 'write what the unit reports of this, signed' },
  { name: 'nonce', value: 'hex', about: 'a challenge of 8 to 64 bytes that the report answers' },
  { name: 'mac', about: 'in a symmetric class: MAC the report instead of signing it' },
];
const CUT_NOTE = `A cut ends the command with exit status 3. The unit file then is what a unit would be after the cut: start it with
"fieldseal boot".`;

/** The field side, on a virtual unit. A unit file needs no workspace. */
export const UNIT: readonly CommandSpec[] = [
  {
    name: 'install',
    group: 'unit',
    summary: 'decide and, if accepted, program the free slot',
    args: [{ name: 'envelope', about: 'the envelope' }],
    options: [
      { name: 'unit', value: 'file', about: 'the unit', required: true },
      { name: 'image', value: 'file', about: 'the image of a detached envelope' },
      ...PART_OPTIONS,
      { name: 'at', value: 'date', about: 'the time a unit with a clock reads (default: now)' },
      TRACE,
      ...CUT,
      ...REPORT,
    ],
    notes: `${CUT_NOTE}

Example:
  fieldseal install vent-1.5.0.suit --unit vent-0001.unit`,
    load: () => import('../commands/install.ts'),
  },
  {
    name: 'boot',
    group: 'unit',
    summary: 'start the unit: verify again, run, fall back',
    args: [{ name: 'unit', about: 'the unit file' }],
    options: [TRACE, ...CUT, ...REPORT],
    notes: `A ready image starts on trial. One that is still on trial at the next start was not kept and falls back.
${CUT_NOTE}

Example:
  fieldseal boot vent-0001.unit`,
    load: () => import('../commands/boot.ts'),
  },
  {
    name: 'keep',
    group: 'unit',
    summary: 'the self-test passed: keep the image on trial and raise the floors',
    args: [{ name: 'unit', about: 'the unit file' }],
    options: [TRACE, ...CUT, ...REPORT],
    notes: `Floors never go back: once raised, older sequence numbers and security versions are refused for good.
${CUT_NOTE}

Example:
  fieldseal keep vent-0001.unit`,
    load: () => import('../commands/keep.ts'),
  },
  {
    name: 'unit show',
    group: 'unit',
    summary: 'what a unit holds: anchors, floors, slots, wear, file layout',
    args: [{ name: 'unit', about: 'the unit file' }],
    notes: `It changes nothing; the regions of the flash in the file are told with --json.

Example:
  fieldseal unit show vent-0001.unit`,
    load: () => import('../commands/unit-show.ts'),
  },
  {
    name: 'unit place',
    group: 'unit',
    summary: 'move areas of the flash out of a unit file, onto partitions',
    args: [{ name: 'unit', about: 'the unit file' }],
    options: [
      {
        name: 'area',
        value: 'name=path',
        about:
          'an area by its name in the memory map (unit show --json), and the device or file that takes it',
        required: true,
        repeat: true,
      },
      { name: 'force', about: 'overwrite a place that is not blank' },
    ],
    notes: `For units that run Linux: slots and state on partitions of their own, from their first byte on. Where they lie is kept beside
the unit file (UNIT.areas); every command finds them from then on. Writes to it are on the medium before
the next one begins. What was on a partition is lost; one that is not blank is taken only with --force.

The unit file still holds the record, the wear notes and what the unit remembers under power.

Example:
  fieldseal unit place vent-0001.unit --area "slot A=/dev/mmcblk0p5" --area "slot B=/dev/mmcblk0p6"`,
    load: () => import('../commands/unit-place.ts'),
  },
  {
    name: 'report make',
    group: 'unit',
    summary: 'have a unit report, signed, what it remembers of an update',
    args: [{ name: 'unit', about: 'the unit file' }],
    options: [
      { name: 'out', value: 'file', about: 'the report to write', required: true },
      {
        name: 'manifest',
        value: 'hex',
        about: 'about this manifest, by its digest (default: the one at work)',
      },
      { name: 'nonce', value: 'hex', about: 'a challenge of 8 to 64 bytes that the report answers' },
      { name: 'capabilities', about: 'say also what the unit can do' },
      { name: 'mac', about: 'in a symmetric class: MAC the report instead of signing it' },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `A unit claims success only for an image that was kept; before that its report says that the run is pending. A refused
install is reported at once, by "fieldseal install --report". A report names the unit: send it encrypted.

Example:
  fieldseal report make vent-0001.unit --out vent-0001.report --nonce 8f1c0b6ae24d97531e60a4c2b8d7f913`,
    load: () => import('../commands/report-make.ts'),
  },
  {
    name: 'answer',
    group: 'unit',
    summary: 'have a unit answer a challenge: measure, and say what it is',
    args: [{ name: 'unit', about: 'the unit file' }],
    options: [
      { name: 'challenge', value: 'file', about: 'the challenge', required: true },
      { name: 'out', value: 'file', about: 'the token to write', required: true },
      { name: 'boots', value: 'number', about: 'tell the newest records of the boot log along (default: 0)' },
      { name: 'mac', about: 'in a symmetric class: MAC the token instead of signing it' },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `The unit reads the region from its flash when it is asked and hashes it behind the nonce. It answers for itself only, once it
was started, and measures only code that its class allows. The token is an EAT (RFC 9711).

Example:
  fieldseal answer vent-0001.unit --challenge vent-0001.challenge --out vent-0001.eat`,
    load: () => import('../commands/answer.ts'),
  },
  {
    name: 'self-check',
    group: 'unit',
    summary: 'let a unit check the code that runs, by its schedule',
    args: [{ name: 'unit', about: 'the unit file' }],
    options: [
      {
        name: 'ticks',
        value: 'number',
        about: 'ticks of the schedule that pass (default: to the end of the round)',
      },
      ...CUT,
    ],
    notes: `What a class asks for stands in its file (attestation.self_check). A finding ends the run with exit status 1, is entered in the boot
log, and the unit reacts as its class says: report, restart into verification, or stop. Which of these is safe, and what the
product does meanwhile, its own safety standard decides.

Example:
  fieldseal self-check vent-0001.unit`,
    load: () => import('../commands/self-check.ts'),
  },
  {
    name: 'unit boots',
    group: 'unit',
    summary: 'the boot log of a unit: what was verified, what ran, what failed',
    args: [{ name: 'unit', about: 'the unit file' }],
    notes: `It changes nothing. Newest first; the log is bounded, and its oldest half goes when it is full.

Example:
  fieldseal unit boots vent-0001.unit --json`,
    load: () => import('../commands/unit-boots.ts'),
  },
];
