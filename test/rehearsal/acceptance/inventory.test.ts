import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  type Columns,
  columnsFromText,
  OWN_NAMES,
  openInventory,
  type UnitEntry,
} from '../../../src/rehearsal/index.ts';
import { WorkspaceError } from '../../../src/workspace/index.ts';
import { failure } from '../../workspace/setup.ts';

const folder = mkdtempSync(join(tmpdir(), 'inventory-'));

async function read(text: string, { name = 'fleet.csv', columns = OWN_NAMES as Columns } = {}) {
  const path = join(folder, name);
  writeFileSync(path, text);
  const inventory = openInventory(path, columns);
  const entries: UnitEntry[] = [];
  for await (const entry of inventory.units) entries.push(entry);
  return { inventory, entries, facts: entries.map(({ facts }) => known(facts)) };
}

function known(facts: object): object {
  return Object.fromEntries(Object.entries(facts).filter(([, value]) => value !== undefined));
}

const mapping = (facts: string, more = '') =>
  columnsFromText(`format: fieldseal.inventory-columns/1\nfacts:\n${facts}${more}`, 'columns.yaml');

describe('CSV, RFC 4180', () => {
  test('columns called as the facts are: texts as they stand, empty ones absent', async () => {
    const { facts, inventory } = await read(
      'serial,class,sequence_number,note\r\n0012,vent,07,x\r\n13,vent,,\r\n',
    );
    expect(facts).toEqual([
      { serial: '0012', class: 'vent', sequence_number: '07' },
      { serial: '13', class: 'vent' },
    ]);
    expect(inventory.unused).toEqual(['note']);
  });

  test('quotes, commas, line ends inside quotes, a byte order mark; places are lines of the file', async () => {
    const { entries } = await read('\ufeffserial,class\n"a ""b"", c",vent\n"two\nlines",vent\nlast,vent');
    expect(entries.map(({ facts, place }) => [place.line, facts.serial])).toEqual([
      [2, 'a "b", c'],
      [4, 'two\nlines'],
      [5, 'last'],
    ]);
  });

  test('a row of another length is a unit that cannot be read, with its line', async () => {
    const { entries } = await read('serial,class\n1,vent\n2\n3,vent,more\n');
    expect(entries.map((entry) => 'mistake' in entry && entry.mistake.found)).toEqual([
      false,
      '1 columns',
      '3 columns',
    ]);
  });

  test.each([
    ['', 'the inventory is empty'],
    ['class,version\nvent,1\n', 'nothing says which column holds the serial'],
    ['serial,class,serial\n1,vent,2\n', 'two columns are called serial'],
    ['serial,class\n1,"vent\n', 'no CSV from there on: line 2: Quote Not Closed'],
    ['serial,class\n1,ve"nt\n', 'no CSV from there on: line 2'],
  ])('%j is told with its place', async (text, says) => {
    const error = await failure(() => read(text));
    expect(error).toBeInstanceOf(WorkspaceError);
    expect((error as Error).message).toContain(says);
  });

  test('what stands in a broken inventory is not shown: a stranger may have written it', async () => {
    const error = await failure(() => read('serial,class\n1,\u001b[31m\u202eve"nt\n'));
    expect((error as Error).message).toMatch(/no CSV from there on: line 2/);
    expect((error as Error).message).not.toMatch(/31m|value is|u001b|\p{Cc}|\p{Cf}/u);
  });

  test('property: what is written as CSV is read back, whatever the texts hold', async () => {
    const cell = fc.string({ unit: 'grapheme', maxLength: 12 }).filter((text) => !text.includes('\r'));
    const quoted = (text: string) => `"${text.replaceAll('"', '""')}"`;
    await fc.assert(
      fc.asyncProperty(fc.array(fc.tuple(cell, cell), { minLength: 1, maxLength: 20 }), async (rows) => {
        const lines = rows.map((row) => row.map(quoted).join(','));
        const { entries } = await read(`serial,class\n${lines.join('\n')}\n`);
        expect(entries.map(({ facts }) => [facts.serial ?? '', facts.class ?? ''])).toEqual(rows);
      }),
      { numRuns: 40 },
    );
  });
});

describe('JSON', () => {
  const rows = [
    { serial: '0012', class: 'vent', sequence_number: 7, clock: true, denied_signers: ['aa', 'bb'] },
    { serial: '13', class: 'vent', version: null, link: 'nb-iot' },
  ];
  const told = [
    { serial: '0012', class: 'vent', sequence_number: '7', clock: 'yes', denied_signers: 'aa bb' },
    { serial: '13', class: 'vent', link: 'nb-iot' },
  ];

  test('an array of objects, and one object a line, hold the same', async () => {
    expect((await read(JSON.stringify(rows, null, 1), { name: 'a.json' })).facts).toEqual(told);
    const lines = rows.map((row) => JSON.stringify(row)).join('\n');
    const { facts, entries } = await read(`${lines}\n\n`, { name: 'a.jsonl' });
    expect(facts).toEqual(told);
    expect(entries.map(({ place }) => place.line)).toEqual([1, 2]);
  });

  test('what is no object, or loses digits, is a unit that cannot be read', async () => {
    const text =
      '[5, [], {"serial": "1", "class": "vent", "sequence_number": 9007199254740993}, {"serial": {}}]';
    const { entries } = await read(text, { name: 'b.json' });
    expect(entries.map((entry) => 'mistake' in entry && entry.mistake.found)).toEqual([
      '5',
      'a list',
      '9007199254740992',
      'an object',
    ]);
  });

  test.each([
    ['[{"serial": "1"}', 'no JSON: after entry 1'],
    ['[{"serial": "1"}, oops]', 'no JSON: after entry 1'],
    ['{"serial": "1"}\n{oops}', 'no JSON: line 2'],
  ])('%j is told with its place', async (text, says) => {
    const error = await failure(() => read(text, { name: 'c.json' }));
    expect((error as Error).message).toContain(says);
  });
});

describe('a columns file', () => {
  test('names columns, tells values in other words, parts lists, and fills in what is the same for all', async () => {
    const columns = await mapping(
      '  serial: "Serial No"\n  class: { always: vent }\n  clock: { column: RTC, values: { Y: "yes", N: "no" } }\n  anchors: { column: Roots, separator: ";" }\n',
      'delimiter: ";"\n',
    );
    const { facts } = await read('Serial No;RTC;Roots\n0001;Y;"root;spare"\n2;maybe;\n', { columns });
    expect(facts).toEqual([
      { serial: '0001', class: 'vent', clock: 'yes', anchors: 'root spare' },
      { serial: '2', class: 'vent', clock: 'maybe' },
    ]);
  });

  test('a column that is not there is told with those that are', async () => {
    const columns = await mapping('  serial: Serial\n  class: Model\n');
    const error = (await failure(() => read('Serial,Type\n1,x\n', { columns }))) as WorkspaceError;
    expect(error.message).toContain(
      'line 1 of the inventory: no column is called Model, which class comes from',
    );
    expect(error.hint).toContain('Serial, Type');
  });

  test.each([
    ['  serail: x\n', 'columns.yaml:3:3: facts.serail: expected a known field (did you mean serial?)'],
    ['  serial: 5\n', 'columns.yaml:3:11: facts.serial'],
    ['  clock: { column: RTC, values: { Y: yes, N: 0 } }\n', 'facts.clock'],
  ])('%j is told with line, column and what was expected', async (facts, says) => {
    expect(((await failure(() => mapping(facts))) as Error).message).toContain(says);
  });
});
