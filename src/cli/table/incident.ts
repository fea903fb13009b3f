import type { CommandSpec } from '../spec.ts';

const KINDS = [
  'signer-leak',
  'root-leak',
  'class-key-leak',
  'cohort-key-leak',
  'certificate-expiry',
  'bad-release',
  'hss-doubt',
];

/** What a leak exposes, and what to do about it in order. */
export const INCIDENT: readonly CommandSpec[] = [
  {
    name: 'exposure',
    group: 'incident',
    summary: 'what the holder of a key could forge, whom it reaches, since when, what nothing repairs',
    args: [
      {
        name: 'key',
        about: 'a key of this workspace by its name or fingerprint, or CLASS/SERIAL for a unit',
      },
    ],
    options: [{ name: 'since', value: 'date', about: 'the earliest doubt (default: when the key was made)' }],
    notes: `Counts come from provisioning records and release records. Nothing is changed.

Example:
  fieldseal exposure line-1 --since 2026-11-01`,
    load: () => import('../commands/exposure.ts'),
  },
  {
    name: 'incident open',
    group: 'incident',
    summary: 'open an incident: the response in order, and the clocks for notices',
    args: [{ name: 'kind', about: KINDS.join(', ') }],
    options: [
      { name: 'key', value: 'name', about: 'the key it is about' },
      { name: 'class', value: 'name', about: 'the class it is about (bad-release)' },
      { name: 'since', value: 'date', about: 'the earliest doubt (default: now)' },
      { name: 'aware', value: 'date', about: 'when you became aware: clocks run from then (default: now)' },
      { name: 'note', value: 'text', about: 'what happened, for the file' },
    ],
    notes: `Everything stands in the ledger; incidents/NUMBER.md is made from it for people. Steps that leave a trace in the workspace
are checked off by themselves, the others by "incident done". Hours are from secondary copies of the regulation: not legal advice.

Example:
  fieldseal incident open signer-leak --key line-1 --since 2026-11-20 --note "laptop stolen"`,
    load: () => import('../commands/incident-open.ts'),
  },
  {
    name: 'incident show',
    group: 'incident',
    summary: 'where an incident stands: next step with its command, what is due, what is overdue',
    args: [{ name: 'incident', about: 'its number (default: all)', optional: true }],
    notes: `Example:
  fieldseal incident show 1`,
    load: () => import('../commands/incident-show.ts'),
  },
  {
    name: 'incident done',
    group: 'incident',
    summary: 'enter that a step, or a notice, was done by people',
    args: [
      { name: 'incident', about: 'its number' },
      {
        name: 'step',
        about: 'the step, such as halt, or a notice: early-warning, notification, final-report',
      },
    ],
    options: [{ name: 'note', value: 'text', about: 'who did it, and how', required: true }],
    notes: `Example:
  fieldseal incident done 1 halt --note "waves stopped by Ada Brook, 08:40"`,
    load: () => import('../commands/incident-done.ts'),
  },
  {
    name: 'incident close',
    group: 'incident',
    summary: 'close an incident; refused while a step is open, unless you say why',
    args: [{ name: 'incident', about: 'its number' }],
    options: [{ name: 'reason', value: 'text', about: 'why open steps are left out' }],
    notes: `Example:
  fieldseal incident close 1`,
    load: () => import('../commands/incident-close.ts'),
  },
  {
    name: 'drill',
    group: 'incident',
    summary: 'play an incident through on virtual units, from leak to recovery, in a workspace of its own',
    args: [{ name: 'kind', about: KINDS.join(', ') }],
    options: [
      { name: 'keep', value: 'dir', about: 'keep the workspace and its units here (default: removed)' },
    ],
    notes: `Makes a trial workspace with a class and units, has an attacker forge with the leaked key, and answers with the commands that
"incident open" names: the forgery is accepted before, refused after, and every unit runs a genuine release at the end; what
nothing repairs is shown too. Exit status 1 where a step does not hold. None of your keys and units is touched.

Example:
  fieldseal drill root-leak`,
    load: () => import('../commands/drill.ts'),
  },
];
