import type { CommandSpec, OptionSpec } from '../spec.ts';

const MODULE: OptionSpec = {
  name: 'module',
  value: 'path',
  about: 'PKCS#11 module (default: FIELDSEAL_PKCS11_MODULE)',
};
const REQUEST = { name: 'request', about: 'the request, by class and number such as vent/12, or its file' };
const SECRETS = `The passphrase of an approver's key comes from a prompt, FIELDSEAL_APPROVER_PASSPHRASE or --passphrase-fd; in a production
workspace never from FIELDSEAL_PASSPHRASE. The PIN of a token comes from a prompt or FIELDSEAL_PIN.`;

/** Two people: one asks for a release to be sealed, another one allows it. */
export const APPROVAL: readonly CommandSpec[] = [
  {
    name: 'approver create',
    group: 'keys',
    summary: 'make the key with which a person asks for sealings and approves those of others',
    args: [{ name: 'name', about: 'short name of the key, such as bela' }],
    options: [
      { name: 'person', value: 'text', about: 'whose key it is, such as "Bela Marsh"', required: true },
      { name: 'custody', value: 'kind', about: 'where the private key lives', choices: ['file', 'token'] },
      { name: 'token', value: 'uri', about: 'the token, as an RFC 7512 URI: pkcs11:token=LABEL' },
      MODULE,
      {
        name: 'algorithm',
        value: 'key-type',
        about: 'key type of the signature',
        choices: ['p256', 'ed25519'],
      },
      { name: 'witness', value: 'text', about: 'who else took part', repeat: true },
      { name: 'backup', value: 'text', about: 'where a backup lies', repeat: true },
    ],
    notes: `No authority certifies it: no unit takes anything that it signs, and it can seal nothing. The ledger says whose it is.
Let each person choose their own passphrase, or use a token of their own.
${SECRETS}

Example:
  fieldseal approver create bela --person "Bela Marsh"`,
    load: () => import('../commands/approver-create.ts'),
  },
  {
    name: 'approver retire',
    group: 'keys',
    summary: "end an approver's key: nothing that it signed counts from now on",
    args: [{ name: 'name', about: 'the key' }],
    options: [{ name: 'reason', value: 'text', about: 'why, for the ledger', required: true }],
    notes: `Example:
  fieldseal approver retire bela --reason "left the company"`,
    load: () => import('../commands/approver-retire.ts'),
  },
  {
    name: 'request make',
    group: 'release',
    summary: 'ask for a release to be sealed: freezes what is to be approved',
    args: [{ name: 'image', about: 'raw binary, Intel HEX, Motorola S-record or ELF' }],
    options: [
      { name: 'class', value: 'name', about: 'the class it is for', required: true },
      { name: 'version', value: 'text', about: 'version of the firmware, such as 1.4.0', required: true },
      { name: 'requester', value: 'name', about: 'the key of the person who asks', required: true },
      { name: 'days', value: 'number', about: 'how long it may be approved and sealed (default: 14)' },
      { name: 'slot-b', value: 'file', about: 'the image linked for slot B (linked slots)' },
      {
        name: 'component',
        value: 'name=file',
        about: 'the image of a further component, such as radio=radio.bin',
        repeat: true,
      },
      {
        name: 'dependency',
        value: 'file',
        about: 'an envelope that another author sealed for a component of its own',
        repeat: true,
      },
      { name: 'detached', about: 'leave the image beside the envelope instead of inside' },
      { name: 'uri', value: 'uri', about: 'where units fetch a detached image' },
      {
        name: 'delta-from',
        value: 'file',
        about:
          'put a delta inside, from what units run: an earlier envelope, or its firmware file (one for each slot)',
        repeat: true,
      },
      { name: 'uri-b', value: 'uri', about: 'the same for the image of slot B' },
      { name: 'signer', value: 'name', about: 'a signer that is to seal it', repeat: true },
      { name: 'security-version', value: 'number', about: 'raises the floor below which units never return' },
      { name: 'sequence', value: 'number', about: 'this sequence number instead of the next one' },
      { name: 'allow-jump', about: "allow a sequence number beyond the class's jump limit" },
      { name: 'serial', value: 'text', about: 'for this one unit only (device identifier)' },
      { name: 'description', value: 'text', about: 'description for people, in the text element' },
      { name: 'reference-uri', value: 'uri', about: 'what reports call the manifest' },
      { name: 'without-text', about: 'leave the text element out, for thin links' },
      {
        name: 'image-format',
        value: 'format',
        about: 'format of the firmware file (default: seen from its content)',
        choices: ['raw', 'ihex', 'srec', 'elf'],
      },
      MODULE,
    ],
    notes: `Image, manifest, sequence number and the choice of encryption are fixed, and the requester signs them. The number is
taken now, and never given to anything else. Somebody else approves it, and then it is sealed with "fieldseal seal --request".
${SECRETS}

Example:
  fieldseal request make vent-1.4.0.hex --class vent --version 1.4.0 --requester ada`,
    load: () => import('../commands/request-make.ts'),
  },
  {
    name: 'request show',
    group: 'release',
    summary: 'what a sealing request froze, decoded, and who has approved it',
    args: [REQUEST],
    notes: `Example:
  fieldseal request show vent/12`,
    load: () => import('../commands/request-show.ts'),
  },
  {
    name: 'request list',
    group: 'release',
    summary: 'the sealing requests of the workspace and where they stand',
    notes: `Example:
  fieldseal request list`,
    load: () => import('../commands/request-list.ts'),
  },
  {
    name: 'approve',
    group: 'release',
    summary: "approve somebody else's sealing request",
    args: [REQUEST],
    options: [
      { name: 'approver', value: 'name', about: 'the key of the person who approves', required: true },
      {
        name: 'image-digest',
        value: 'hex',
        about: 'SHA-256 of the image as the build told you, or its first 16 digits; refused where it differs',
      },
      {
        name: 'days',
        value: 'number',
        about: 'how long the approval holds (default: as long as the request)',
      },
      MODULE,
    ],
    notes: `What the request froze is decoded and shown before the key is opened: read it. Take the digest of the image from the
build, not from the request. Nobody approves their own request, by this key or another.
${SECRETS}

Example:
  fieldseal approve vent/12 --approver bela --image-digest 9f86d081884c7d65`,
    load: () => import('../commands/approve.ts'),
  },
  {
    name: 'withdraw',
    group: 'release',
    summary: 'take back a sealing request, or an approval',
    args: [REQUEST],
    options: [
      { name: 'approver', value: 'name', about: 'only the approval by this key' },
      { name: 'reason', value: 'text', about: 'why, for the ledger', required: true },
    ],
    notes: `It makes sealing harder, never easier, so no key is asked for. A request that was withdrawn stays so.

Example:
  fieldseal withdraw vent/12 --reason "wrong build"`,
    load: () => import('../commands/withdraw.ts'),
  },
];
