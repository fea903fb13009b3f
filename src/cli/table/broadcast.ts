import { MONITOR_OPTIONS } from '../monitor-options.ts';
import type { CommandSpec, OptionSpec } from '../spec.ts';

/** How a broker is reached. */
export const BROKER: readonly OptionSpec[] = [
  { name: 'mqtt-user', value: 'name', about: 'user name at the broker' },
  {
    name: 'mqtt-password-fd',
    value: 'number',
    about: 'read its password from this file descriptor (otherwise FIELDSEAL_MQTT_PASSWORD)',
  },
  { name: 'mqtt-ca', value: 'pem', about: "certificates that the broker's must lead to" },
];

/** Broadcast: what units are told, and what they fetch. */
export const BROADCAST: readonly CommandSpec[] = [
  {
    name: 'announce',
    group: 'broadcast',
    summary: 'tell units of a class what is offered, where, to whom and for how long',
    args: [
      { name: 'class', about: 'the device class' },
      {
        name: 'envelope',
        about:
          'what is offered: as it was sealed, or the message that was encrypted of it; without it, that nothing is offered now',
        optional: true,
      },
    ],
    options: [
      { name: 'depot', value: 'dir', about: 'the folder that units fetch from', required: true },
      { name: 'image', value: 'file', about: 'an image that lies beside the envelope', repeat: true },
      { name: 'wave', value: 'name', about: 'name of the wave (default: all)' },
      {
        name: 'share',
        value: 'permille',
        about: 'how many of a thousand units it reaches, drawn by lot (default: 1000)',
      },
      { name: 'lot', value: 'hex', about: 'the lot of an earlier wave, so that this one reaches all of it' },
      { name: 'serial', value: 'text', about: 'reach this unit by name instead of a share', repeat: true },
      { name: 'from', value: 'date', about: 'when it begins (default: now)' },
      { name: 'days', value: 'number', about: 'for how long it stands (default: 14)' },
      {
        name: 'condition',
        value: 'name',
        about: 'a condition that a unit must be told is met before it installs (agent --ready)',
      },
      { name: 'signer', value: 'name', about: 'the signer of announcements, where several cover the class' },
      { name: 'module', value: 'path', about: 'PKCS#11 module of a token' },
      { name: 'mqtt', value: 'url', about: 'publish it at this MQTT 5 broker too: mqtt: or mqtts:' },
      ...BROKER,
    ],
    notes: `Takes the next counter of the class's announcements; units take none that is not above the last they heard. Signed by a
signer of announcements ("fieldseal signer create ann-1 --purpose announcement"), or MACed under a key derived from that of the
class: neither can seal a release. Envelope and images are put into the depot first. With --mqtt the same bytes are published as a
retained message too, so that units that listen hear it at once; the others hear it when they ask. While a broadcast to the class is
under way ("broadcast begin") nothing is announced by hand, since that would reach units past its waves and its stop rules.

An announcement lets nothing in: whatever a unit fetches for it goes through every check. Begin with a pilot group that holds every
hardware revision, write the rule for stopping before it starts, and let products in use be updated in their safe state only.

Examples:
  fieldseal announce vent vent-1.5.0.suit --depot depot --wave pilot --share 20
  fieldseal announce vent --depot depot
  fieldseal announce vent vent-1.5.0.suit --depot depot --mqtt mqtts://broker.hollinridge.example --mqtt-user announcer`,
    load: () => import('../commands/announce.ts'),
  },
  {
    name: 'depot serve',
    group: 'broadcast',
    summary: 'serve a depot over HTTP: immutable files with ranges, announcements by condition',
    args: [{ name: 'dir', about: 'the folder that "announce" fills' }],
    options: [
      { name: 'port', value: 'number', about: 'port to listen on (default: one that is free)' },
      { name: 'address', value: 'address', about: 'address to listen on (default 127.0.0.1)' },
      { name: 'tls-certificate', value: 'pem', about: 'certificate chain' },
      { name: 'tls-key', value: 'pem', about: 'private key of that certificate' },
      { name: 'fleet', about: 'take signed reports at /reports into the fleet of the workspace' },
      ...MONITOR_OPTIONS,
    ],
    notes: `The folder is static: any web server or cache can serve it as it is, files under p/ for ever, announcements under a/
after asking again. Units trust neither the depot nor the way to it.

With --fleet, reports of units ("fieldseal agent --report-to") are judged under the keys of their provisioning records and entered
in the fleet before they are acknowledged; forged and foreign ones are counted and change nothing (docs/reports.md). Serve it over TLS:
reports tell which unit has which weakness.

Example:
  fieldseal depot serve depot --port 8080`,
    load: () => import('../commands/depot-serve.ts'),
  },
  {
    name: 'agent',
    group: 'broadcast',
    summary: 'serve a unit in the field: hear announcements, fetch, install, restart, keep, report',
    args: [{ name: 'unit', about: 'the unit file, or a folder of unit files for trials' }],
    options: [
      { name: 'depot', value: 'url', about: 'where announcements and files are', required: true },
      {
        name: 'health',
        value: 'command',
        about:
          'the self-test: status 0 where all is well; only then is an image kept (FIELDSEAL_UNIT names the unit)',
        required: true,
      },
      {
        name: 'restart',
        value: 'command',
        about:
          'restart the machine after an install; the agent ends, and starts the image when it is started again',
      },
      {
        name: 'ready',
        value: 'command',
        about:
          'asked before each install: status 0 where the product is in its safe state and may be updated',
      },
      { name: 'state', value: 'dir', about: 'folder for downloads and memory (default: UNIT.agent)' },
      {
        name: 'report-to',
        value: 'url',
        about:
          'send a signed report of each install, start and keep there, again and again until it is taken',
      },
      { name: 'reports', value: 'dir', about: 'write a signed report of each install, start and keep here' },
      { name: 'every', value: 'seconds', about: 'how often to ask (default: 300, and up to a fifth longer)' },
      { name: 'once', about: 'one round, then end' },
      { name: 'at-once', value: 'number', about: 'how many units of a folder act at once (default: 32)' },
      {
        name: 'mqtt',
        value: 'url',
        about: 'listen at this MQTT 5 broker between the rounds: mqtt: or mqtts:',
      },
      ...BROKER,
    ],
    notes: `For gateways and units that run Linux, and the model for ports to microcontrollers. It trusts neither the depot nor the way to
it: announcements and envelopes are judged by the unit. It may be killed at any moment: downloads go on where they stopped, under the
validator they began with, and an install begins again. For a service, let your init system start it again when it ends.

With --mqtt it hears announcements as they are published, and asks the depot at its usual rate all the same: a broker that is gone or
lies keeps nothing from it.

With --report-to reports go to "fieldseal depot serve --fleet" or whatever stands before it. Each lies in the state folder before it
counts as made and is kept until the other side names it, so nothing is lost while nobody answers.

A folder in place of a unit is for trials: one process serves every unit file in it, over shared connections.

Let it install when the product is in its safe state: --ready names a command that is asked first, with the unit in FIELDSEAL_UNIT and
the condition that the announcement names in FIELDSEAL_CONDITION. Until it ends with status 0 the unit waits, and says so; where a condition is
named and there is no such command, it waits, too. The product's safety standard and qualified practice decide what is safe, not
this program.

Example:
  fieldseal agent vent-0001.unit --depot http://127.0.0.1:8080 --health ./self-test --once`,
    load: () => import('../commands/agent.ts'),
  },
];
