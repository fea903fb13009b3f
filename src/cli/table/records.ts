import type { CommandSpec } from '../spec.ts';

/** Counters, ledger, and the shell. */
export const RECORDS: readonly CommandSpec[] = [
  {
    name: 'counter show',
    group: 'records',
    summary: 'the last sequence number of a class, and what witnesses say',
    args: [{ name: 'class', about: 'the class' }],
    notes: `Example:
  fieldseal counter show vent`,
    load: () => import('../commands/counter-show.ts'),
  },
  {
    name: 'counter claim',
    group: 'records',
    summary: 'in a clone or after a restore: take over the counter of a class',
    args: [{ name: 'class', about: 'the class' }],
    options: [
      { name: 'above', value: 'number', about: 'every number up to this one counts as used', required: true },
      { name: 'reason', value: 'text', about: 'why, for the ledger', required: true },
      { name: 'allow-jump', about: "allow a step beyond the class's jump limit" },
    ],
    notes: `Only one copy of a workspace may seal. Claim here only when the other copy will never seal again, above the highest
number it can have used.

Example:
  fieldseal counter claim vent --above 1200 --reason "workspace restored from the backup of Monday"`,
    load: () => import('../commands/counter-claim.ts'),
  },
  {
    name: 'ledger check',
    group: 'records',
    summary: 'find removed, changed or reordered entries',
    notes: `Compares the hash chain, this copy's own witnesses, every record and every key with what the ledger took down. Exit
status 1 where something differs.

Example:
  fieldseal ledger check --json`,
    load: () => import('../commands/ledger-check.ts'),
  },
  {
    name: 'ledger list',
    group: 'records',
    summary: 'what was made, sealed and provisioned, in order',
    notes: `Example:
  fieldseal ledger list`,
    load: () => import('../commands/ledger-list.ts'),
  },
  {
    name: 'completion',
    group: 'shell',
    summary: 'a completion script for your shell',
    args: [{ name: 'shell', about: 'bash, zsh or fish' }],
    notes: `Example:
  fieldseal completion bash > ~/.local/share/bash-completion/completions/fieldseal`,
    load: () => import('../commands/completion.ts'),
  },
];
