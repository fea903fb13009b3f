import type { CommandSpec } from '../spec.ts';

/** What units report, counters, ledger, and the shell. */
export const RECORDS: readonly CommandSpec[] = [
  {
    name: 'report appraise',
    group: 'records',
    summary: 'who sent a report, is it authentic and new, and what happened',
    args: [{ name: 'report', about: 'the report of a unit' }],
    options: [
      { name: 'nonce', value: 'hex', about: 'the challenge that was sent to the unit' },
      { name: 'envelope', value: 'file', about: 'the envelope that it is about, to look its records up in' },
    ],
    notes: `Exit status 0: the report is genuine, whatever it says. Without --nonce an old report is noticed only where a newer one
was appraised in this copy of the workspace.

Example:
  fieldseal report appraise vent-0001.report --nonce 8f1c0b6ae24d97531e60a4c2b8d7f913`,
    load: () => import('../commands/report-appraise.ts'),
  },
  {
    name: 'report import',
    group: 'records',
    summary: 'take reports that somebody brought back into the fleet',
    args: [{ name: 'dir', about: 'a folder of reports, as "agent --reports" writes them' }],
    notes: `Each is judged as those that units send themselves; one that was taken before changes nothing. Exit status 1 where one is
not taken.

Example:
  fieldseal report import from-the-van`,
    load: () => import('../commands/report-import.ts'),
  },
  {
    name: 'challenge',
    group: 'records',
    summary: 'ask one unit to prove what it runs',
    args: [
      { name: 'class', about: 'its class' },
      { name: 'serial', about: 'its serial number' },
    ],
    options: [
      { name: 'out', value: 'file', about: 'the challenge to write', required: true },
      {
        name: 'region',
        value: 'name',
        about: 'what to measure: running, the name of a slot, or recovery (default: running)',
      },
      {
        name: 'address',
        value: 'address',
        about: 'or from this address; whole erase pages, within one area',
      },
      { name: 'length', value: 'size', about: 'so many bytes from there' },
      { name: 'hours', value: 'number', about: 'how long an answer is taken (default: 24)' },
      { name: 'nonce-bytes', value: 'number', about: 'length of the nonce, 8 to 64 (default: 32)' },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `The nonce is random and good for one answer. It is remembered in private/challenges: only this copy of the workspace
takes the answer.

Example:
  fieldseal challenge vent 0001 --out vent-0001.challenge`,
    load: () => import('../commands/challenge.ts'),
  },
  {
    name: 'appraise',
    group: 'records',
    summary: 'is the answer to a challenge genuine, and does the unit run what was sealed',
    args: [{ name: 'token', about: 'the token that the unit answered with' }],
    options: [
      { name: 'envelope', value: 'file', about: 'the envelope of the release, for the image inside it' },
      {
        name: 'image',
        value: 'file',
        about: 'or the image: the firmware file, or as it was given out in clear',
      },
      { name: 'recovery', value: 'file', about: 'the recovery image, where that was asked for' },
      {
        name: 'least-number',
        value: 'number',
        about:
          'the lowest sequence number that is good enough (default: the newest that was sealed for the unit)',
      },
    ],
    notes: `The expected value is made from the sealed image itself, which must be the one on the release record. Without it the result
is incomplete (exit status 4) and the challenge stays open. A result is entered in attestations/ and the ledger, and the
challenge is used up. What no answer can prove is told with every result.

Example:
  fieldseal appraise vent-0001.eat --envelope vent-1.5.0.suit`,
    load: () => import('../commands/appraise.ts'),
  },
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
      { name: 'trust', about: "the counter of the class's trust updates instead of that of its releases" },
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
  {
    name: 'evidence',
    group: 'records',
    summary: 'everything an auditor asks about a release, in one page that needs nothing else',
    args: [{ name: 'release', about: 'the release, by class and number such as vent/12, or its record' }],
    options: [
      { name: 'out', value: 'file', about: 'the page to write, HTML' },
      { name: 'envelope', value: 'file', about: 'the envelope, to be compared with the record' },
      { name: 'rehearsal', value: 'file', about: 'forgeries: what "rehearse --out" wrote', repeat: true },
      {
        name: 'acceptance',
        value: 'file',
        about: 'acceptance: what "rehearse --units --out" wrote',
        repeat: true,
      },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `What was sealed, by which key and chain, memory fit, approvals, rehearsals, the decision behind the class, production,
support period, cautions, and how that answers RFC 9124 and the rules of the trade; what is not shown is said to be so. The
same records give the same page, byte for byte. No legal advice.

Example:
  fieldseal evidence vent/12 --envelope vent-1.4.0.suit --rehearsal vent-1.4.0.rehearsal.json --out vent-1.4.0.html`,
    load: () => import('../commands/evidence.ts'),
  },
];
