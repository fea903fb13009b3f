import type { CommandSpec } from '../spec.ts';

/** What goes onto units before they leave the factory. */
export const PRODUCTION: readonly CommandSpec[] = [
  {
    name: 'provision',
    group: 'production',
    summary: 'provision one virtual unit: job, station, result and record in one go',
    args: [{ name: 'class', about: 'the class' }],
    options: [
      { name: 'serial', value: 'text', about: 'serial number of the unit', required: true },
      { name: 'out', value: 'file', about: 'the unit file to make', required: true },
      { name: 'first', value: 'envelope', about: 'first firmware; without it the unit leaves empty' },
      { name: 'image', value: 'file', about: 'image of a detached first envelope' },
      { name: 'recovery', value: 'file', about: 'recovery image, for a class that has room for one' },
      { name: 'cohort', value: 'name', about: 'the cohort whose keys the unit gets' },
      {
        name: 'station',
        value: 'name',
        about: 'the station whose key wraps what is secret (default: a virtual one)',
      },
    ],
    notes: `The anchor is written, locked, and the lock is proved by an overwrite attempt that must fail.

Example:
  fieldseal provision vent --serial 0001 --out vent-0001.unit`,
    load: () => import('../commands/provision.ts'),
  },
  {
    name: 'batch issue',
    group: 'production',
    summary: 'write a provisioning job for a batch of serial numbers',
    args: [{ name: 'class', about: 'the class' }],
    options: [
      { name: 'serials', value: 'file', about: 'text file, one serial number a line', required: true },
      { name: 'out', value: 'file', about: 'the job file for the station', required: true },
      {
        name: 'station',
        value: 'name',
        about: 'the station whose key wraps what is secret (symmetric classes, shared content keys)',
      },
      { name: 'first', value: 'envelope', about: 'first firmware' },
      { name: 'cohort', value: 'name', about: 'the cohort of the batch, whose keys its units get' },
    ],
    notes: `The job goes to the station; nothing counts as provisioned until its result comes back. A serial number is given once.

Example:
  fieldseal batch issue vent --serials serials.txt --first vent-1.4.0.suit --out job.json`,
    load: () => import('../commands/batch-issue.ts'),
  },
  {
    name: 'batch run',
    group: 'production',
    summary: 'act as a virtual station: carry out a job on virtual units',
    args: [{ name: 'job', about: 'the job file' }],
    options: [
      { name: 'out', value: 'file', about: 'the result file for the workspace', required: true },
      { name: 'units', value: 'dir', about: 'where the unit files go', required: true },
      { name: 'first', value: 'envelope', about: 'the first firmware that the job names' },
      { name: 'image', value: 'file', about: 'image of a detached first envelope' },
      { name: 'recovery', value: 'file', about: 'recovery image, for a class that has room for one' },
    ],
    notes: `Needs a workspace only where the job carries keys for a station, and then the one that holds the station's key.

Example:
  fieldseal batch run job.json --first vent-1.4.0.suit --units virtual-units --out result.json`,
    load: () => import('../commands/batch-run.ts'),
  },
  {
    name: 'batch accept',
    group: 'production',
    summary: "take in a station's result; only then are units provisioned",
    args: [{ name: 'result', about: 'the result file' }],
    notes: `Each unit is judged: anchors read back, the overwrite attempt on the lock, debug port, keys. Exit status 1 where one stays
open.

Example:
  fieldseal batch accept result.json`,
    load: () => import('../commands/batch-accept.ts'),
  },
  {
    name: 'batch show',
    group: 'production',
    summary: 'the books: issued = provisioned + scrapped + open',
    args: [{ name: 'batch', about: 'the batch (default: all)', optional: true }],
    notes: `Example:
  fieldseal batch show`,
    load: () => import('../commands/batch-show.ts'),
  },
  {
    name: 'header',
    group: 'production',
    summary: "write a bootloader's C99 header: anchors, identifiers, memory map",
    args: [{ name: 'class', about: 'the class' }],
    options: [
      { name: 'out', value: 'file', about: 'the header to write', required: true },
      {
        name: 'key-slot',
        value: 'number',
        about: 'key slot that holds the MAC key (symmetric classes; default: 0)',
      },
    ],
    notes: `It holds no secret: of a MAC key only the slot number and a check value. An existing file is replaced.

Example:
  fieldseal header vent --out vent.h`,
    load: () => import('../commands/header.ts'),
  },
];
