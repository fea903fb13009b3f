import type { CommandSpec } from '../spec.ts';

/** What follows from a choice, before it is made. */
export const PLAN: readonly CommandSpec[] = [
  {
    name: 'plan',
    group: 'plan',
    summary:
      'the trust plan of a class: every choice with what follows from it, and a decision record to sign',
    args: [{ name: 'class', about: 'the class' }],
    options: [
      { name: 'out', value: 'file', about: 'write the decision record, in Markdown' },
      { name: 'out-json', value: 'file', about: 'write the decision record, in JSON' },
      {
        name: 'decided-by',
        value: 'text',
        about: 'enter the record in the ledger as decided by these people',
      },
      { name: 'figures', value: 'file', about: 'figures to use (default: figures.yaml of the workspace)' },
      { name: 'force', about: 'replace existing output files' },
    ],
    notes: `Bytes added, time to verify, what the leak of each key means, what conflicts with rules, what lapses within twelve months, all
profiles side by side, and the threats of RFC 9124. What the plan reckons with stands under "plan" in the class file. No
legal advice.

Examples:
  fieldseal plan vent
  fieldseal plan vent --out vent-plan.md --out-json vent-plan.json --decided-by "Ada Brook, Bela Marsh"`,
    load: () => import('../commands/plan.ts'),
  },
  {
    name: 'cost',
    group: 'plan',
    summary: 'airtime, time to complete, energy and money for a release over each link of a class',
    args: [{ name: 'payload', about: 'a sealed envelope' }],
    options: [
      { name: 'class', value: 'name', about: 'the class it is for', required: true },
      {
        name: 'link',
        value: 'name',
        about: 'a link (default: those that the class names, or else every link known)',
        repeat: true,
      },
      { name: 'units', value: 'number', about: 'units it goes to (default: those on record, at least one)' },
      {
        name: 'from',
        value: 'file',
        about: 'the envelope of the release that units run: a delta is made and measured',
      },
      { name: 'figures', value: 'file', about: 'figures to use (default: figures.yaml of the workspace)' },
    ],
    notes: `Full image and delta, in clear and encrypted, side by side; the least energy that a unit needs for one try and a retry,
for the minimum-battery condition. Every figure is shown with its source and can be replaced: fieldseal figures.
Check national radio rules before you transmit.

Examples:
  fieldseal cost vent-1.5.0.suit --class vent --from vent-1.4.0.suit
  fieldseal cost vent-1.5.0.suit --class vent --link lorawan-eu-dr0 --units 1200`,
    load: () => import('../commands/cost.ts'),
  },
  {
    name: 'figures',
    group: 'plan',
    summary: 'the figures that calculations rest on, each with its source',
    options: [
      { name: 'link', value: 'name', about: 'a link (default: every link known)', repeat: true },
      { name: 'class', value: 'name', about: 'figures of the units of this class' },
      { name: 'figures', value: 'file', about: 'figures to use (default: figures.yaml of the workspace)' },
      { name: 'out', value: 'file', about: 'write a figures file to begin from' },
    ],
    notes: `Figures from memory and common practice are starting points: enter the values of your own part, radio and network in
figures.yaml before you rely on a result.

Examples:
  fieldseal figures --link nb-iot
  fieldseal figures --out figures.yaml`,
    load: () => import('../commands/figures.ts'),
  },
];
