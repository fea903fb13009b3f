import { PART_OPTIONS } from '../part-options.ts';
import type { CommandSpec } from '../spec.ts';

/** From a firmware file to an envelope, and a look inside. */
export const RELEASE: readonly CommandSpec[] = [
  {
    name: 'seal',
    group: 'release',
    summary: 'make an envelope from a firmware file',
    args: [{ name: 'image', about: 'raw binary, Intel HEX, Motorola S-record or ELF' }],
    options: [
      { name: 'class', value: 'name', about: 'the class it is for' },
      { name: 'version', value: 'text', about: 'version of the firmware, such as 1.4.0' },
      {
        name: 'request',
        value: 'request',
        about: 'what was approved, such as vent/12: class, version and all else come from there',
      },
      { name: 'out', value: 'file', about: 'the envelope to write', required: true },
      { name: 'slot-b', value: 'file', about: 'the image linked for slot B (linked slots)' },
      {
        name: 'component',
        value: 'name=file',
        about: 'the image of a further component, such as radio=radio.bin (raw, byte for byte)',
        repeat: true,
      },
      {
        name: 'dependency',
        value: 'file',
        about: 'an envelope that another author sealed for a component of its own',
        repeat: true,
      },
      { name: 'detached', about: 'leave the image beside the envelope instead of inside' },
      {
        name: 'uri',
        value: 'uri',
        about: 'where units fetch a detached image (default: a name made of its digest)',
      },
      {
        name: 'delta-from',
        value: 'file',
        about:
          'put a delta inside, from what units run: an earlier envelope, or its firmware file (one for each slot)',
        repeat: true,
      },
      { name: 'uri-b', value: 'uri', about: 'the same for the image of slot B' },
      {
        name: 'signer',
        value: 'name',
        about: 'a signer (default: the ones that cover the class, where that leaves no choice)',
        repeat: true,
      },
      { name: 'unfinished', about: 'seal with fewer signatures than the class asks for; add the rest later' },
      {
        name: 'security-version',
        value: 'number',
        about: 'raises the floor below which units never return (default: 0)',
      },
      { name: 'sequence', value: 'number', about: 'this sequence number instead of the next one' },
      { name: 'allow-jump', about: "allow a sequence number beyond the class's jump limit" },
      { name: 'serial', value: 'text', about: 'for this one unit only (device identifier)' },
      { name: 'description', value: 'text', about: 'description for people, in the text element' },
      {
        name: 'reference-uri',
        value: 'uri',
        about: 'what reports call the manifest (default: a name made of class and sequence number)',
      },
      { name: 'without-text', about: 'leave the text element out, for thin links' },
      {
        name: 'image-format',
        value: 'format',
        about: 'format of the firmware file (default: seen from its content)',
        choices: ['raw', 'ihex', 'srec', 'elf'],
      },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `The sequence number is taken before it is used, and never twice. Sealing opens the signer's key or the class key,
never the root. A class with further components takes each of them with every release: from here with --component, from its
author with --dependency. Where the class says confidentiality: image, the image is encrypted first. With --delta-from the image lies
beside the envelope, for units that run anything else: both are one release with one number. ${'Run the result on a reference unit of every hardware revision before it is broadcast.'}

Classes of a production workspace are sealed with --request, once somebody else approved it (docs/approvals.md).

Examples:
  fieldseal seal vent-1.4.0.hex --class vent --version 1.4.0 --out vent-1.4.0.suit
  fieldseal seal vent-1.4.0.hex --request vent/12 --out vent-1.4.0.suit
  fieldseal seal vent-1.5.0.hex --class vent --version 1.5.0 --delta-from vent-1.4.0.suit --out vent-1.5.0.suit
  fieldseal seal vent-2.0.0.hex --class vent --version 2.0.0 --dependency radio-3.1.suit --out vent-2.0.0.suit`,
    load: () => import('../commands/seal.ts'),
  },
  {
    name: 'recipients',
    group: 'release',
    summary: 'whom an encrypted image would be sent to, and what that adds to it',
    args: [{ name: 'class', about: 'the class' }],
    options: [{ name: 'serial', value: 'text', about: 'for this one unit only' }],
    notes: `Units, cohorts or the class, as its file says. Every recipient adds to the manifest, which every unit receives and
keeps within its envelope area. Nothing is sealed.

Example:
  fieldseal recipients vent`,
    load: () => import('../commands/recipients.ts'),
  },
  {
    name: 'message encrypt',
    group: 'release',
    summary: 'encrypt a whole envelope for sending, signed or MACed outside',
    args: [{ name: 'envelope', about: 'the envelope' }],
    options: [
      { name: 'class', value: 'name', about: 'the class it is for', required: true },
      { name: 'out', value: 'file', about: 'the message to write', required: true },
      { name: 'signer', value: 'name', about: 'the signer (default: the one that covers the class)' },
      { name: 'cohort', value: 'name', about: 'the cohort it goes to (symmetric classes with cohort keys)' },
      { name: 'serial', value: 'text', about: 'for this one unit only (device identifier)' },
      { name: 'module', value: 'path', about: 'PKCS#11 module (default: FIELDSEAL_PKCS11_MODULE)' },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `For classes that say confidentiality: message or both. A unit judges signature or MAC before it decrypts, so that what a
stranger encrypted is refused unread; the envelope inside then goes through every step. Check and install take the message
in place of the envelope.

Example:
  fieldseal message encrypt vent-1.4.0.suit --class vent --out vent-1.4.0.message`,
    load: () => import('../commands/message-encrypt.ts'),
  },
  {
    name: 'signature add',
    group: 'release',
    summary: 'have another signer sign a sealed envelope',
    args: [{ name: 'envelope', about: 'an envelope that this workspace sealed' }],
    options: [
      { name: 'signer', value: 'name', about: 'the signer', required: true },
      { name: 'out', value: 'file', about: 'the envelope to write', required: true },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `For classes that ask for several signatures. The digest is computed anew from the manifest before anything is
signed, and must be that of a release on the ledger: what was approved is what was sealed. Manifest and images stay as they
are, byte for byte. Read what you sign first: fieldseal inspect.

Example:
  fieldseal seal vent-1.4.0.hex --class vent --version 1.4.0 --signer line-1 --unfinished --out vent-1.4.0.half.suit
  fieldseal signature add vent-1.4.0.half.suit --signer approver-1 --out vent-1.4.0.suit`,
    load: () => import('../commands/signature-add.ts'),
  },
  {
    name: 'rehearse',
    group: 'release',
    summary: 'before a broadcast: have every forgery of a payload refused, or ask every unit of the fleet',
    args: [
      {
        name: 'payload',
        about:
          'the envelope that is to be sent; where it is sent encrypted, the one that the message was made of',
      },
    ],
    options: [
      { name: 'class', value: 'name', about: 'against units of this class, as production leaves them' },
      { name: 'cohort', value: 'name', about: 'against units of this cohort of the class' },
      { name: 'serial', value: 'text', about: 'against this one unit, for a payload sealed for it' },
      { name: 'unit', value: 'file', about: 'against the unit in this file instead' },
      {
        name: 'units',
        value: 'file',
        about: 'acceptance: who in this inventory (CSV or JSON) would take it',
      },
      { name: 'columns', value: 'file', about: 'with --units: which column of the inventory holds what' },
      {
        name: 'running',
        value: 'file',
        about: 'with --units: the envelope of a release that units run, for a payload with a delta',
        repeat: true,
      },
      {
        name: 'minimum-battery',
        value: 'mWh',
        about: 'with --units: energy that a unit must have left (default: computed for its link)',
      },
      { name: 'image', value: 'file', about: 'the image of a detached envelope, for the slot that is free' },
      { name: 'at', value: 'date', about: 'the time a unit with a clock reads (default: now)' },
      { name: 'out', value: 'file', about: 'write the result, for the evidence of the release' },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `The payload is checked first; where the unit does not take it, that is all you hear. Then every row of docs/forgeries.md
is made from it. One that is accepted, or refused at another step or for another reason than it must be, fails the rehearsal.
No key of yours is opened and no passphrase asked: what needs a signing key is made with a throwaway authority and offered to a
stand-in, the same record with only the keys swapped. What does not apply to the class is listed as exposure, not as passed.
With --units the real check runs once for each group of units that differ to this payload, and you hear who would take it,
who would not and why, and what to change so that nobody is left behind (docs/rehearsal.md). Exit status 1 where some refuse,
4 where some could not be judged.
A rehearsal shows what the logic of a unit does. It does not take the place of a pilot group with every hardware revision.

Examples:
  fieldseal rehearse vent-1.4.0.suit --class vent
  fieldseal rehearse vent-1.4.0.suit --unit vent-0001.unit --out vent-1.4.0.rehearsal.json
  fieldseal rehearse vent-1.4.0.suit --units fleet.csv --columns fleet-columns.yaml`,
    load: () => import('../commands/rehearse.ts'),
  },
  {
    name: 'trust-update make',
    group: 'release',
    summary: 'tell units whom to believe no more: signers, generations, a root',
    args: [{ name: 'class', about: 'the class' }],
    options: [
      {
        name: 'deny',
        value: 'key',
        about: 'a signer of this workspace, or SHA-256 of a public key (SubjectPublicKeyInfo), hexadecimal',
        repeat: true,
      },
      { name: 'minimum-generation', value: 'number', about: 'lowest generation of a signer of releases' },
      { name: 'retire-root', value: 'name', about: 'a root that the spare one replaces', repeat: true },
      {
        name: 'security-version',
        value: 'number',
        about: 'a floor that no image below it is ever started under again',
      },
      { name: 'signer', value: 'name', about: 'the trust signer (default: the only one there is)' },
      { name: 'out', value: 'file', about: 'the envelope to write', required: true },
      { name: 'module', value: 'path', about: 'PKCS#11 module (default: FIELDSEAL_PKCS11_MODULE)' },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `Signed by a signer made for that purpose ("signer create --purpose trust"), never by one of releases. It says all that the
last one of the class said, and more; what units once learned so is never taken back. They take it as they take a release:
"fieldseal check" explains it, "fieldseal install" installs it. A symmetric class has none.

Examples:
  fieldseal trust-update make vent --deny line-1 --out vent-trust.suit
  fieldseal trust-update make vent --retire-root root --signer trust-spare --out vent-trust.suit`,
    load: () => import('../commands/trust-update-make.ts'),
  },
  {
    name: 'inspect',
    group: 'release',
    summary: 'account for every byte of an envelope',
    args: [{ name: 'envelope', about: 'any file' }],
    options: [
      { name: 'diagnostic', about: 'only the extended diagnostic notation (RFC 8949 section 8)' },
      { name: 'depth', value: 'number', about: 'how deep the byte table goes (default: all)' },
    ],
    notes: `What is not understood is accounted for too, with the reason. Nothing is verified here: for a decision use
"fieldseal check".

Examples:
  fieldseal inspect vent-1.4.0.suit --depth 2
  fieldseal inspect vent-1.4.0.suit --diagnostic`,
    load: () => import('../commands/inspect.ts'),
  },
  {
    name: 'check',
    group: 'release',
    summary: 'decide as a unit would, step by step; changes nothing',
    args: [{ name: 'envelope', about: 'the envelope' }],
    options: [
      { name: 'unit', value: 'file', about: 'the unit that decides' },
      { name: 'key', value: 'pem', about: "a stranger's envelope: the signer's public key" },
      {
        name: 'mac-key-file',
        value: 'file',
        about: "a stranger's envelope: the MAC key, raw or hexadecimal",
      },
      { name: 'image', value: 'file', about: 'the image of a detached envelope' },
      ...PART_OPTIONS,
      { name: 'at', value: 'date', about: 'the time a unit with a clock reads (default: now)' },
    ],
    notes: `With --unit the whole decision is made. With --key or --mac-key-file only authenticity is judged: identity,
freshness and fit are "not judged" and do not block.

Examples:
  fieldseal check vent-1.4.0.suit --unit vent-0001.unit
  fieldseal check any.suit --key signer-public.pem --image any.bin`,
    load: () => import('../commands/check.ts'),
  },
];
