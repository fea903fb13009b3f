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
      { name: 'at', value: 'date', about: 'the time a unit with a clock reads (default: now)' },
      TRACE,
      ...CUT,
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
    options: [TRACE, ...CUT],
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
    options: [TRACE, ...CUT],
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
];
