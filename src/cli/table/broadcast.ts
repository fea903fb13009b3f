import type { CommandSpec } from '../spec.ts';

/** Broadcast: what units are told, and what they fetch. */
export const BROADCAST: readonly CommandSpec[] = [
  {
    name: 'announce',
    group: 'broadcast',
    summary: 'tell units of a class what is offered, where, to whom and for how long',
    args: [
      { name: 'class', about: 'the device class' },
      { name: 'envelope', about: 'what is offered; without it, that nothing is offered now', optional: true },
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
      { name: 'signer', value: 'name', about: 'the signer of announcements, where several cover the class' },
      { name: 'module', value: 'path', about: 'PKCS#11 module of a token' },
    ],
    notes: `Takes the next counter of the class's announcements; units take none that is not above the last they heard. Signed by a
signer of announcements ("fieldseal signer create ann-1 --purpose announcement"), or MACed under a key derived from that of the
class: neither can seal a release. Envelope and images are put into the depot first.

An announcement lets nothing in: whatever a unit fetches for it goes through every check. Begin with a pilot group that holds every
hardware revision, write the rule for stopping before it starts, and let products in use be updated in their safe state only.

Examples:
  fieldseal announce vent vent-1.5.0.suit --depot depot --wave pilot --share 20
  fieldseal announce vent --depot depot`,
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
    ],
    notes: `The folder is static: any web server or cache can serve it as it is, files under p/ for ever, announcements under a/
after asking again. Units trust neither the depot nor the way to it.

Example:
  fieldseal depot serve depot --port 8080`,
    load: () => import('../commands/depot-serve.ts'),
  },
];
