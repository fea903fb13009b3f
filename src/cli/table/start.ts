import type { CommandSpec } from '../spec.ts';

/** Where the job begins: the workspace and its device classes. */
export const START: readonly CommandSpec[] = [
  {
    name: 'init',
    group: 'start',
    summary: 'make a workspace for one vendor',
    args: [{ name: 'dir', about: 'the folder to make' }],
    options: [
      {
        name: 'vendor-domain',
        value: 'domain',
        about: "the vendor's domain name, for the vendor identifier",
        required: true,
      },
      { name: 'production', about: 'a production workspace: the root by token or offline custody only' },
    ],
    notes: `A workspace is a trial unless --production is given, and every output of a trial says so.
Keys made in a trial are marked and never become production keys.

Example:
  fieldseal init greenhouse --vendor-domain hollinridge.example`,
    load: () => import('../commands/init.ts'),
  },
  {
    name: 'class add',
    group: 'start',
    summary: 'describe a device class',
    args: [{ name: 'name', about: 'short name, such as vent' }],
    options: [
      {
        name: 'model',
        value: 'text',
        about: 'model text; the class identifier is made from it',
        required: true,
      },
      {
        name: 'scheme',
        value: 'scheme',
        about: 'who can make what a unit accepts',
        required: true,
        choices: ['asymmetric', 'symmetric'],
      },
      { name: 'profile', value: 'name', about: 'algorithm profile by its standard name' },
      {
        name: 'hardware-revision',
        value: 'text',
        about: 'a second, narrower class identifier: model and revision',
      },
      { name: 'core', value: 'core', about: 'vector table to expect', choices: ['cortex-m', 'none'] },
      { name: 'slot-size', value: 'size', about: 'size of a slot, such as 256KiB or 2GiB' },
      {
        name: 'shape',
        value: 'shape',
        about: 'how slots are run',
        choices: ['remapped', 'position-independent', 'linked', 'staged'],
      },
      { name: 'clock', about: 'units of this class have a trusted clock' },
    ],
    notes: `Without further options: a Cortex-M class with two remapped banks of 256 KiB, one image, P-256 signatures.
The class is a text file, classes/NAME.yaml: edit it, then "fieldseal class check NAME".

Example:
  fieldseal class add vent --model VC-2 --scheme asymmetric`,
    load: () => import('../commands/class-add.ts'),
  },
  {
    name: 'class show',
    group: 'start',
    summary: 'show a class: identifiers, profile, memory',
    args: [{ name: 'name', about: 'the class' }],
    notes: `Example:
  fieldseal class show vent --json`,
    load: () => import('../commands/class-show.ts'),
  },
  {
    name: 'class list',
    group: 'start',
    summary: 'list the classes of the workspace',
    notes: `Example:
  fieldseal class list --workspace greenhouse`,
    load: () => import('../commands/class-list.ts'),
  },
  {
    name: 'class check',
    group: 'start',
    summary: 'read a class file and say what is wrong with it',
    args: [{ name: 'name', about: 'the class' }],
    notes: `A mistake is told with its file, line and field, what was expected, and an example.

Example:
  fieldseal class check vent`,
    load: () => import('../commands/class-check.ts'),
  },
];
