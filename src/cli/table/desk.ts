import { MONITOR_OPTIONS } from '../monitor-options.ts';
import type { CommandSpec } from '../spec.ts';

const ROLES = ['owner', 'operator', 'requester', 'approver', 'reader'];

/** The desk: the pages, and who may use them from elsewhere. */
export const DESK: readonly CommandSpec[] = [
  {
    name: 'serve',
    group: 'desk',
    summary: 'open the desk: the whole job in a browser, on this machine',
    options: [
      { name: 'port', value: 'number', about: 'port to listen on (default: one that is free)' },
      {
        name: 'address',
        value: 'address',
        about: 'address to listen on (default 127.0.0.1); any other needs TLS and accounts',
      },
      { name: 'name', value: 'host', about: 'the name that browsers use, where it differs from the address' },
      { name: 'tls-certificate', value: 'pem', about: 'certificate chain of the desk' },
      { name: 'tls-key', value: 'pem', about: 'private key of that certificate' },
      {
        name: 'depot',
        value: 'dir',
        about:
          'the folder that units fetch from: broadcasts can be begun at the desk, and put their files there',
      },
      ...MONITOR_OPTIONS,
    ],
    notes: `Prints a link that lets one browser in, once; press Enter for another. Ctrl-C closes the desk: files that were
dropped there, units that were played with and held passphrases are gone then.

Beyond this machine the desk listens only with TLS and named accounts: see "fieldseal account add".

Which folder units fetch from is said here and nowhere else: no page can name one. Without --depot the desk shows the command
that begins a broadcast.

Examples:
  fieldseal serve --port 8470
  fieldseal serve --depot depot`,
    load: () => import('../commands/serve.ts'),
  },
  {
    name: 'account add',
    group: 'desk',
    summary: 'make an account for the desk: a person with a password, or a program with a token',
    args: [{ name: 'name', about: 'short name, such as mira' }],
    options: [
      { name: 'role', value: 'role', about: 'what it may do', required: true, choices: ROLES },
      { name: 'program', about: 'for a build server: prints a token, once' },
    ],
    notes: `owner may do everything, and alone has a root opened; operator changes keys, incidents and fleet; requester seals and asks for approval;
approver approves; reader looks. Accounts lie in private/desk-accounts.json, as hashes, and never go into git.
The password comes from FIELDSEAL_PASSPHRASE, --passphrase-fd or a prompt.

Example:
  fieldseal account add mira --role approver`,
    load: () => import('../commands/account-add.ts'),
  },
  {
    name: 'account list',
    group: 'desk',
    summary: 'list the accounts of the desk',
    notes: `Example:
  fieldseal account list`,
    load: () => import('../commands/account-list.ts'),
  },
  {
    name: 'account remove',
    group: 'desk',
    summary: 'take an account away',
    args: [{ name: 'name', about: 'the account' }],
    notes: `Example:
  fieldseal account remove mira`,
    load: () => import('../commands/account-remove.ts'),
  },
];
