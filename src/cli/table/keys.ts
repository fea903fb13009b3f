import type { CommandSpec, OptionSpec } from '../spec.ts';

const CUSTODY: readonly OptionSpec[] = [
  { name: 'custody', value: 'kind', about: 'where the private key lives', choices: ['file', 'token'] },
  {
    name: 'token',
    value: 'uri',
    about: 'the token, as an RFC 7512 URI: pkcs11:token=LABEL (never with a PIN in it)',
  },
  { name: 'module', value: 'path', about: 'PKCS#11 module (default: FIELDSEAL_PKCS11_MODULE)' },
];
const SPARE: OptionSpec = {
  name: 'spare',
  about: 'a spare: provisioned beside the root, to take its place if that one leaks',
};
const REASON: OptionSpec = {
  name: 'reason',
  value: 'reason',
  about: 'why',
  choices: ['leaked', 'superseded', 'ended'],
  required: true,
};
const CEREMONY: readonly OptionSpec[] = [
  { name: 'person', value: 'text', about: 'who took part, such as "Ada Brook, custodian"', repeat: true },
  { name: 'backup', value: 'text', about: 'where a backup lies, such as "safe 2, bag 114"', repeat: true },
];
const ALGORITHM: OptionSpec = {
  name: 'algorithm',
  value: 'key-type',
  about: 'key type of the signature',
  choices: ['p256', 'ed25519'],
};
const SIGNER_ALGORITHM: OptionSpec = { ...ALGORITHM, choices: ['p256', 'ed25519', 'hss-lms'] };
const HSS_LMS: readonly OptionSpec[] = [
  {
    name: 'parameters',
    value: 'text',
    about:
      'for hss-lms, per tree N24/ (24-byte hashes), height, width: H10/W4 (default), H10/W8,H10/W8, N24/H10/W8',
  },
  {
    name: 'exception',
    value: 'reason',
    about: 'for hss-lms in a file of a production workspace: why, for the record (NIST SP 800-208)',
  },
];
const SECRETS = `Passphrases come from a prompt, FIELDSEAL_PASSPHRASE (the root: FIELDSEAL_ROOT_PASSPHRASE) or --passphrase-fd;
a token's PIN from a prompt or FIELDSEAL_PIN. Never as an argument.`;

/** Keys, certificates and where they live. */
export const KEYS: readonly CommandSpec[] = [
  {
    name: 'root create',
    group: 'keys',
    summary: 'make the root authority',
    options: [
      { name: 'name', value: 'name', about: 'name of this root (default: root, or spare-root)' },
      SPARE,
      ...CUSTODY,
      ALGORITHM,
      ...CEREMONY,
    ],
    notes: `Units will hold this key's public half, locked. Losing it ends updates; leaking it ends trust. In a production
workspace it lives in a token, or on a machine without network (see "fieldseal authority create").
${SECRETS}

Example:
  fieldseal root create --person "Ada Brook, custodian" --backup "safe 2, bag 114"`,
    load: () => import('../commands/root-create.ts'),
  },
  {
    name: 'root adopt',
    group: 'keys',
    summary: 'take in the certificate of a root kept on an offline machine',
    args: [{ name: 'certificate', about: 'PEM file from the offline machine' }],
    options: [
      { name: 'name', value: 'name', about: 'name of this root (default: root, or spare-root)' },
      SPARE,
      {
        name: 'fingerprint',
        value: 'text',
        about: 'the fingerprint read aloud from the offline machine',
        required: true,
      },
      ...CEREMONY,
    ],
    notes: `The fingerprint is read aloud from the other machine's screen, never copied from the file that was carried over.

Example:
  fieldseal root adopt root-certificate.pem --fingerprint "7945 d755 ... 9b77"`,
    load: () => import('../commands/root-adopt.ts'),
  },
  {
    name: 'authority create',
    group: 'keys',
    summary: 'on the offline machine: make a root key in a folder of its own',
    args: [{ name: 'dir', about: 'the folder to make, on a machine that stays without network' }],
    options: [
      { name: 'vendor-domain', value: 'domain', about: "the vendor's domain name", required: true },
      { name: 'trial', about: 'mark the root as a trial key' },
      ALGORITHM,
      ...CEREMONY,
    ],
    notes: `${SECRETS}

Example, on the machine without network:
  fieldseal authority create /media/root-authority --vendor-domain hollinridge.example`,
    load: () => import('../commands/authority-create.ts'),
  },
  {
    name: 'authority sign',
    group: 'keys',
    summary: 'on the offline machine: certify a signer from its request file',
    args: [{ name: 'request', about: 'PKCS#10 file brought from the workspace' }],
    options: [
      { name: 'dir', value: 'dir', about: 'the folder that "authority create" made', required: true },
      { name: 'out', value: 'file', about: 'the certificate to carry back', required: true },
      {
        name: 'fingerprint',
        value: 'text',
        about: 'the fingerprint read aloud from the workspace',
        required: true,
      },
      { name: 'days', value: 'number', about: 'how long the certificate is valid (default: 825)' },
    ],
    notes: `Scope, generation and role of the request are shown before the root's passphrase is asked for: read them.
${SECRETS}

Example, on the machine without network:
  fieldseal authority sign line-1.request.pem --dir /media/root-authority --out line-1.pem --fingerprint "473b 4b39 ... 6b41"`,
    load: () => import('../commands/authority-sign.ts'),
  },
  {
    name: 'author add',
    group: 'keys',
    summary: "take in another maker's root, for components of its own",
    args: [{ name: 'name', about: 'what this workspace calls that author' }],
    options: [
      { name: 'root', value: 'file', about: 'its root certificate, PEM or DER', required: true },
      {
        name: 'fingerprint',
        value: 'hex',
        about: 'SHA-256 of its public key, as that author read it aloud',
        required: true,
      },
    ],
    notes: `For units that hold an image of another maker, such as the firmware of a radio. Units trust that root for the
components that a class lists under "authors", never for a release of yours.

Example:
  fieldseal author add marl --root marl-root.pem --fingerprint 5f1c...`,
    load: () => import('../commands/author-add.ts'),
  },
  {
    name: 'signer create',
    group: 'keys',
    summary: 'make a signer and have the root certify it',
    args: [{ name: 'name', about: 'short name, such as line-1' }],
    options: [
      {
        name: 'class',
        value: 'name',
        about: 'a class it may sign for (default in a trial: all)',
        repeat: true,
      },
      { name: 'root', value: 'name', about: 'the certifying root (default: root)' },
      { name: 'days', value: 'number', about: 'how long the certificate is valid (default: 825)' },
      {
        name: 'generation',
        value: 'number',
        about: 'signer generation (default: 1); units can be told to refuse older ones',
      },
      {
        name: 'purpose',
        value: 'purpose',
        about: 'what it signs and nothing else: releases (default), trust updates, or announcements',
        choices: ['release', 'trust', 'announcement'],
      },
      {
        name: 'role',
        value: 'text',
        about: 'what it signs as, such as author or approver, where a class asks for roles',
      },
      ...CUSTODY,
      SIGNER_ALGORITHM,
      ...HSS_LMS,
      ...CEREMONY,
    ],
    notes: `With an offline root a request file is written instead, to be carried to the offline machine; its reply comes back
by "fieldseal signer accept".

An hss-lms key stands up to quantum computers and signs a limited number of times: H10 1024 times, H15 32768, H20 about a
million, two trees their product. Small widths verify fast, large ones make short signatures: H10/W4 2512 bytes, H10/W8
1456. Its leaves are counted in this copy of the workspace only, and the counter can never be copied, restored or claimed.
${SECRETS}

Example:
  fieldseal signer create line-1 --class vent
  fieldseal signer create trust-1 --class vent --purpose trust
  fieldseal signer create line-q --class vent-q --algorithm hss-lms --parameters H10/W4`,
    load: () => import('../commands/signer-create.ts'),
  },
  {
    name: 'signer accept',
    group: 'keys',
    summary: "take in a signer's certificate from the offline machine",
    args: [
      { name: 'name', about: 'the signer' },
      { name: 'certificate', about: 'PEM file from the offline machine' },
    ],
    notes: `Example:
  fieldseal signer accept line-1 line-1.pem`,
    load: () => import('../commands/signer-accept.ts'),
  },
  {
    name: 'signer retire',
    group: 'keys',
    summary: 'from now on nothing is sealed with a signer',
    args: [{ name: 'name', about: 'the signer' }],
    options: [REASON],
    notes: `Enters it in the ledger; it cannot be taken back. Units in the field learn of it by a trust update only
("fieldseal trust-update make --deny NAME"), others by the revocation list ("fieldseal revocation-list make").

Example:
  fieldseal signer retire line-1 --reason leaked`,
    load: () => import('../commands/signer-retire.ts'),
  },
  {
    name: 'root retire',
    group: 'keys',
    summary: 'from now on no unit is provisioned with a root; the spare root takes its place',
    args: [{ name: 'name', about: 'the root' }],
    options: [REASON],
    notes: `Enters it in the ledger; it cannot be taken back. Units in the field learn of it by a trust update signed below the spare
root only ("fieldseal trust-update make --retire-root NAME").

Example:
  fieldseal root retire root --reason leaked`,
    load: () => import('../commands/root-retire.ts'),
  },
  {
    name: 'revocation-list make',
    group: 'keys',
    summary: 'sign the list of retired certificates of a root (RFC 5280)',
    options: [
      { name: 'root', value: 'name', about: 'the root (default: root)' },
      { name: 'out', value: 'file', about: 'the list to write, PEM', required: true },
      { name: 'days', value: 'number', about: 'days until the next list (default: 30)' },
      { name: 'module', value: 'path', about: 'PKCS#11 module (default: FIELDSEAL_PKCS11_MODULE)' },
      { name: 'force', about: 'replace an existing output file' },
    ],
    notes: `For servers, tools and people that check certificates. Units read no lists: they learn by a trust update.
${SECRETS}

Example:
  fieldseal revocation-list make --out hollinridge.crl`,
    load: () => import('../commands/revocation-list-make.ts'),
  },
  {
    name: 'authority revoke',
    group: 'keys',
    summary: 'on the offline machine: revoke a certificate and sign the list of all that are',
    args: [{ name: 'serial', about: 'serial number of the certificate, hexadecimal' }],
    options: [
      { name: 'dir', value: 'dir', about: 'the folder that "authority create" made', required: true },
      REASON,
      { name: 'out', value: 'file', about: 'the list to carry back, PEM', required: true },
      { name: 'days', value: 'number', about: 'days until the next list (default: 30)' },
    ],
    notes: `${SECRETS}

Example, on the machine without network:
  fieldseal authority revoke 4f2a90c1 --dir /media/root-authority --reason leaked --out hollinridge.crl`,
    load: () => import('../commands/authority-revoke.ts'),
  },
  {
    name: 'class-key create',
    group: 'keys',
    summary: 'make the key that all units of a symmetric class share',
    args: [{ name: 'class', about: 'the class' }],
    options: [...CUSTODY, ...CEREMONY],
    notes: `Whoever reads this key out of one unit can forge firmware for every unit that holds it. Sound only in a closed
ecosystem. Cohort keys ("fieldseal cohort-key create") limit what one leak reaches.

Example:
  fieldseal class-key create dosing`,
    load: () => import('../commands/class-key-create.ts'),
  },
  {
    name: 'cohort-key create',
    group: 'keys',
    summary: 'make a key for one group of units of a symmetric class',
    args: [
      { name: 'class', about: 'the class' },
      { name: 'cohort', about: 'name of the group, such as 2026-north' },
    ],
    options: [...CUSTODY, ...CEREMONY],
    notes: `A payload carries one MAC for each cohort key of its class.

Example:
  fieldseal cohort-key create dosing 2026-north`,
    load: () => import('../commands/cohort-key-create.ts'),
  },
  {
    name: 'content-key create',
    group: 'keys',
    summary: 'make the key under which encrypted images reach a class or cohort',
    args: [{ name: 'class', about: 'the class' }],
    options: [
      { name: 'cohort', value: 'name', about: 'for one cohort, where the class sends to its cohorts' },
      ...CEREMONY,
    ],
    notes: `For classes that say recipients: class or cohorts. The content key of each image goes out wrapped under this key; it
authenticates nothing, and is never the MAC key. Whoever reads it out of one unit can read the images of all that share it.
It lives in an encrypted file.
${SECRETS}

Example:
  fieldseal content-key create dosing --cohort 2026-north`,
    load: () => import('../commands/content-key-create.ts'),
  },
  {
    name: 'station-key create',
    group: 'keys',
    summary: 'make the wrapping key of a production station',
    args: [{ name: 'name', about: 'the station, such as bench-3' }],
    options: [...CUSTODY, ...CEREMONY],
    notes: `Secret keys leave for a station only wrapped by its key (RFC 3394). A class key in a token needs a station key in the same
token, marked as trusted by the security officer, whose PIN comes from a prompt or FIELDSEAL_SO_PIN.
${SECRETS}

Examples:
  fieldseal station-key create bench-3
  fieldseal station-key create bench-4 --token "pkcs11:token=Hollin%20Ridge"`,
    load: () => import('../commands/station-key-create.ts'),
  },
  {
    name: 'key list',
    group: 'keys',
    summary: 'list keys and certificates: custody, fingerprint, what lapses when',
    notes: `Example:
  fieldseal key list`,
    load: () => import('../commands/key-list.ts'),
  },
];
