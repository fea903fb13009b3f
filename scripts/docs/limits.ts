// docs/limits.md: every bound on what strangers send, out of the tables that the rooms themselves go by.

import { ATTESTATION_LIMIT_TABLE } from '../../src/attestation/index.ts';
import type { Limit, LimitTable } from '../../src/bytes/index.ts';
import { CBOR_LIMITS } from '../../src/cbor/index.ts';
import { COSE_LIMITS } from '../../src/cose/index.ts';
import { DELTA_LIMITS } from '../../src/delta/index.ts';
import { IMAGE_LIMITS } from '../../src/image/index.ts';
import { MOST_ROUNDS } from '../../src/keys/pbes2.ts';
import { MOST_UNITS } from '../../src/provision/job.ts';
import { ACCEPTANCE_LIMITS } from '../../src/rehearsal/acceptance/limits.ts';
import { REPORT_LIMIT_TABLE } from '../../src/report/index.ts';
import { SUIT_LIMIT_TABLE } from '../../src/suit/index.ts';
import { HEADER_SIZE } from '../../src/unit/index.ts';
import { UNIT_LIMITS } from '../../src/unit/limits.ts';
import { X509_LIMITS } from '../../src/x509/index.ts';
import { SLOWEST_CASE_MILLISECONDS } from '../fuzz/stretch.ts';

const FILES: LimitTable = {
  header: {
    value: HEADER_SIZE,
    unit: 'bytes',
    reason: 'of the header of a unit file, which has exactly this size',
  },
  units: { value: MOST_UNITS, unit: 'units', reason: 'in one job, so that one result file stays readable' },
  rounds: {
    value: MOST_ROUNDS,
    unit: 'rounds',
    reason: 'of PBKDF2 that a key file may ask for: some ten seconds of work',
  },
};

const TIME: LimitTable = {
  oneCase: {
    value: SLOWEST_CASE_MILLISECONDS,
    unit: 'ms',
    reason:
      'that any input of the fuzz run may take, a whole install and start included; a usual one takes about 1 ms',
  },
};

const ROOMS: readonly (readonly [string, LimitTable])[] = [
  ['CBOR', CBOR_LIMITS],
  ['COSE', COSE_LIMITS],
  ['SUIT', SUIT_LIMIT_TABLE],
  ['X.509', X509_LIMITS],
  ['Image files', IMAGE_LIMITS],
  ['Deltas', DELTA_LIMITS],
  ["A unit's decision", UNIT_LIMITS],
  ['Reports', REPORT_LIMIT_TABLE],
  ['Attestation', ATTESTATION_LIMIT_TABLE],
  ['Inventories', ACCEPTANCE_LIMITS],
  ['Files', FILES],
  ['Time', TIME],
];

/** The page as it should be. */
export function limitsPage(): string {
  const rows = ROOMS.flatMap(([title, table]) =>
    Object.entries(table).map(
      ([name, limit]) => `| ${title} | ${wordsOf(name)} | ${amountOf(limit)} | ${limit.reason} |`,
    ),
  );
  return `# Hard limits

Written from the tables of the rooms in \`src/\` by \`npm run docs\`.

What is larger, longer, deeper or more is refused, with a code, before memory is set aside for it and before a key is touched.
No clock is asked: time is bounded by what may be counted, and the fuzz run (CONTRIBUTING) measures that the bounds hold.
A device with less memory lowers what it takes; every published example stays far below.

| where | what | at most | why |
|---|---|---|---|
${rows.join('\n')}

A unit record has lists of its own (classes, roots, keys, denied signers), each with its bound in \`src/unit/record-read.ts\`.
`;
}

/** A name as words: \`certificateSize\` is certificate size. */
function wordsOf(name: string): string {
  return name.replace(/[A-Z]/g, (letter) => ` ${letter.toLowerCase()}`);
}

const BINARY = [
  [2 ** 20, 'MiB'],
  [2 ** 10, 'KiB'],
] as const;

function amountOf({ value, unit }: Limit): string {
  const [factor, name] = BINARY.find(([size]) => value >= size && value % size === 0) ?? [];
  if (unit === 'bytes' && factor) return `${value / factor} ${name}`;
  return `${value.toLocaleString('en')} ${unit}`.trim();
}
