import { MONITOR_OPTIONS } from '../monitor-options.ts';
import type { ArgumentSpec, CommandSpec, OptionSpec } from '../spec.ts';
import { BROKER } from './broadcast.ts';

const CLASS: ArgumentSpec = { name: 'class', about: 'the device class' };
const BY: OptionSpec = {
  name: 'by',
  value: 'name',
  about: 'who it is, for the record (default: the user of this machine)',
};
const VOICE: readonly OptionSpec[] = [
  { name: 'signer', value: 'name', about: 'the signer of announcements, where several cover the class' },
  { name: 'module', value: 'path', about: 'PKCS#11 module of a token' },
  {
    name: 'lease',
    value: 'seconds',
    about: 'how long its right to steer lasts without renewal (default: 60)',
  },
  { name: 'mqtt', value: 'url', about: 'publish at this MQTT 5 broker too: mqtt: or mqtts:' },
  ...BROKER,
];
const ORDER: readonly OptionSpec[] = [
  { name: 'reason', value: 'text', about: 'why, for the record', required: true },
  BY,
  {
    name: 'depot',
    value: 'dir',
    about: 'announce it here, where nobody steers now; otherwise whoever steers does',
  },
  ...VOICE,
];

const ENVELOPE: ArgumentSpec = {
  name: 'envelope',
  about: 'what is offered: as it was sealed, or the message that was encrypted of it',
};
const BESIDE: readonly OptionSpec[] = [
  { name: 'image', value: 'file', about: 'an image that lies beside an envelope', repeat: true },
  {
    name: 'stepping-stone',
    value: 'file',
    about: 'the envelope of a release that the plan names as a stepping stone',
    repeat: true,
  },
];

/** Waves: who is reached in which order, and what stops it. */
export const WAVES: readonly CommandSpec[] = [
  {
    name: 'broadcast plan',
    group: 'broadcast',
    summary: 'write a plan of waves to begin from, or judge one against the fleet',
    args: [CLASS, { ...ENVELOPE, optional: true }],
    options: [
      { name: 'out', value: 'file', about: 'write a plan to begin from' },
      {
        name: 'plan',
        value: 'file',
        about: 'judge this plan: what each wave holds, and what the pilot lacks',
      },
      ...BESIDE,
    ],
    notes: `A plan says whom a release reaches in which order, how long each wave is watched, and what stops it: refusals, fall-backs,
silence, each as a share and a least number. Write it before the broadcast begins (docs/broadcast.md). With the envelope that is to be
sent, that is judged too, as "broadcast begin" does; nothing is begun. Status 1 where that would refuse it.

Examples:
  fieldseal broadcast plan vent --out vent-waves.yaml
  fieldseal broadcast plan vent --plan vent-waves.yaml
  fieldseal broadcast plan vent vent-1.5.0.suit --plan vent-waves.yaml`,
    load: () => import('../commands/broadcast-plan.ts'),
  },
  {
    name: 'broadcast begin',
    group: 'broadcast',
    summary: 'begin to send a release to a class by a plan of waves',
    args: [CLASS, ENVELOPE],
    options: [
      { name: 'plan', value: 'file', about: 'the plan of its waves', required: true },
      { name: 'depot', value: 'dir', about: 'the folder that units fetch from', required: true },
      ...BESIDE,
      BY,
    ],
    notes: `Puts the files into the depot and every unit into its wave; then "broadcast steer" opens the pilot. Refused where the pilot
holds nobody, or lacks a hardware revision of the fleet that the plan does not except.

Example:
  fieldseal broadcast begin vent vent-1.5.0.suit --plan vent-waves.yaml --depot depot`,
    load: () => import('../commands/broadcast-begin.ts'),
  },
  {
    name: 'broadcast steer',
    group: 'broadcast',
    summary: 'open, watch and stop the waves of a class by their rules, and announce them',
    args: [CLASS],
    options: [
      { name: 'depot', value: 'dir', about: 'the folder that units fetch from', required: true },
      { name: 'every', value: 'seconds', about: 'how often to look (default: 10)' },
      { name: 'once', about: 'one look, then end' },
      ...VOICE,
      ...MONITOR_OPTIONS,
    ],
    notes: `Runs until it is ended, as a service. Of several only one steers: it holds a lease in the fleet store, and what it announces
bears a number that it took under it. It may be killed at any moment; the next look, here or elsewhere, goes on.

The depot must hold the very files that the broadcast offers. Where it does not when steering begins, it ends with status 3; where it
does not later, the offer is taken back and no wave is opened until they are back. Stop rules go on.

With --once: status 0, 1 where a rule stopped the broadcast or it is paused, 3 where somebody else steers.

A stop rule takes the offer back from units that have not begun. It brings no unit back: those that kept the release stay with it
until the next one ("broadcast reissue").

Example:
  fieldseal broadcast steer vent --depot depot`,
    load: () => import('../commands/broadcast-steer.ts'),
  },
  {
    name: 'broadcast status',
    group: 'broadcast',
    summary: 'how broadcasts stand: waves, units by state, why it stopped, what comes next',
    args: [{ ...CLASS, optional: true }],
    notes: `Example:
  fieldseal broadcast status vent`,
    load: () => import('../commands/broadcast-status.ts'),
  },
  {
    name: 'broadcast pause',
    group: 'broadcast',
    summary: 'offer nothing until it is resumed',
    args: [CLASS],
    options: ORDER,
    notes: `Units that have installed go on; units that have not begun are offered nothing. Status 4 where it stands in the store and
nobody announces it.

Example:
  fieldseal broadcast pause vent --reason "storm warning, growers need their vents"`,
    load: () => import('../commands/broadcast-pause.ts'),
  },
  {
    name: 'broadcast resume',
    group: 'broadcast',
    summary: 'go on after a pause, or after a rule stopped it',
    args: [CLASS],
    options: ORDER,
    notes: `What the rules count up to now is taken down as known, and does not stop it again; whatever comes beside it does. Find the
cause before you resume: a rule that is overruled twice is no rule.

Example:
  fieldseal broadcast resume vent --reason "two units had a wrong model plate; they were taken out"`,
    load: () => import('../commands/broadcast-resume.ts'),
  },
  {
    name: 'broadcast halt',
    group: 'broadcast',
    summary: 'end a broadcast for good, and take the offer back',
    args: [CLASS],
    options: ORDER,
    notes: `It cannot be resumed. What comes instead begins as a broadcast of its own: a corrected release, or the previous one again
("broadcast reissue").

Example:
  fieldseal broadcast halt vent --reason "1.5.0 drops the night setpoint" --depot depot`,
    load: () => import('../commands/broadcast-halt.ts'),
  },
  {
    name: 'broadcast reissue',
    group: 'broadcast',
    summary: 'seal an earlier release again under a higher number: the way back from a bad one',
    args: [{ name: 'image', about: 'the firmware file that it was sealed from' }],
    options: [
      { name: 'release', value: 'release', about: 'which, such as vent/3', required: true },
      { name: 'out', value: 'file', about: 'the envelope to write' },
      { name: 'slot-b', value: 'file', about: 'the image linked for the second slot' },
      {
        name: 'image-format',
        value: 'format',
        about: 'format of the firmware file (default: seen from its content)',
        choices: ['raw', 'ihex', 'srec', 'elf'],
      },
      {
        name: 'security-version',
        value: 'number',
        about: 'the explicit yes to old code at this security version, where the floor was raised since',
      },
      { name: 'requester', value: 'name', about: 'who asks, where releases of the class need approval' },
      { name: 'signer', value: 'name', about: 'the signer, where several cover the class', repeat: true },
      { name: 'module', value: 'path', about: 'PKCS#11 module of a token' },
    ],
    notes: `Units never go back to a lower sequence number, so the way back is the old code under a new one. The file must be the one
that the release was sealed from. Refused where a later release or trust update raised the security floor: units that kept it start
nothing below, and the flaw that it was raised for would come back. Where the class asks for approvals, a request is made; it is
approved and sealed like any. Then rehearse it, and begin its broadcast with a pilot.

Example:
  fieldseal broadcast reissue vent-1.4.0.hex --release vent/3 --out vent-1.4.0-again.suit`,
    load: () => import('../commands/broadcast-reissue.ts'),
  },
];
