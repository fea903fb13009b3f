/** Areas of a unit file that lie elsewhere: whatever is read and written, the whole is the file as it would be. */
import { mkdtempSync, readFileSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { openUnitStore, placeAreas } from '../../src/workspace/index.ts';

const SIZE = 1000;
const AREAS = [
  { name: 'slot B', offset: 300, size: 200 },
  { name: 'slot A', offset: 100, size: 200 },
  { name: 'state', offset: 900, size: 100 },
];
let folder: string;
const at = (name: string) => join(folder, name);
const areas = () => AREAS.map((area) => ({ ...area, path: at(area.name) }));
const content = Buffer.from(Array.from({ length: SIZE }, (_, i) => (i * 7) % 251));

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'areas-'));
  writeFileSync(at('unit'), content);
  for (const { name, size } of AREAS) writeFileSync(at(name), Buffer.alloc(size + 50, 0xee));
});
afterEach(() => rmSync(folder, { recursive: true }));

async function whole(): Promise<Buffer> {
  const store = await openUnitStore(at('unit'), 'read');
  try {
    return Buffer.from(store.read(0, store.size));
  } finally {
    store.close();
  }
}

describe('areas of a unit elsewhere', () => {
  test('the unit reads as before; the file keeps zeros in their place; the rest of a partition is left alone', async () => {
    await placeAreas(at('unit'), areas());
    expect(await whole()).toEqual(content);
    for (const { name, offset, size } of AREAS) {
      expect(readFileSync(at('unit')).subarray(offset, offset + size)).toEqual(Buffer.alloc(size));
      expect(readFileSync(at(name)).subarray(0, size)).toEqual(content.subarray(offset, offset + size));
      expect(readFileSync(at(name)).subarray(size)).toEqual(Buffer.alloc(50, 0xee));
    }
  });

  test('property: what is written anywhere is read there, across all borders', async () => {
    await placeAreas(at('unit'), areas());
    const store = await openUnitStore(at('unit'));
    const model = Buffer.from(content);
    const write = fc.record({
      offset: fc.nat(SIZE - 1),
      bytes: fc.uint8Array({ minLength: 1, maxLength: 600 }),
    });
    try {
      fc.assert(
        fc.property(write, ({ offset, bytes }) => {
          const part = bytes.subarray(0, SIZE - offset);
          store.write(offset, part);
          model.set(part, offset);
          expect(Buffer.from(store.read(0, SIZE))).toEqual(model);
        }),
      );
    } finally {
      store.close();
    }
    expect(await whole()).toEqual(model);
  });

  test('a place that holds anything is not overwritten, and nothing moves, unless that is said', async () => {
    writeFileSync(at('state'), Buffer.concat([Buffer.alloc(99, 0xee), Buffer.from('a file system')]));
    await expect(placeAreas(at('unit'), areas())).rejects.toMatchObject({ code: 'output-exists' });
    expect(readFileSync(at('unit'))).toEqual(content);
    expect(readFileSync(at('slot A')).subarray(0, 200)).toEqual(Buffer.alloc(200, 0xee));
    await placeAreas(at('unit'), areas(), { force: true });
    expect(await whole()).toEqual(content);
  });

  test.each([false, true])(
    'where one is too small nothing moves, and that is said (force: %s)',
    async (force) => {
      truncateSync(at('state'), 40);
      await expect(placeAreas(at('unit'), areas(), { force })).rejects.toMatchObject({
        code: 'file-damaged',
        file: at('state'),
        hint: expect.stringContaining('nothing was changed'),
      });
      expect(readFileSync(at('unit'))).toEqual(content);
      for (const name of ['slot A', 'slot B'])
        expect(readFileSync(at(name))).toEqual(Buffer.alloc(250, 0xee));
    },
  );

  test('one that was placed is not placed again', async () => {
    await placeAreas(at('unit'), areas().slice(0, 1));
    await placeAreas(at('unit'), areas().slice(1));
    await expect(placeAreas(at('unit'), areas().slice(1, 2))).rejects.toMatchObject({ code: 'name-taken' });
    expect(await whole()).toEqual(content);
  });

  test('a place that is gone or has become too small is named', async () => {
    await placeAreas(at('unit'), areas());
    truncateSync(at('state'), 40);
    await expect(openUnitStore(at('unit'))).rejects.toMatchObject({
      code: 'file-damaged',
      file: at('state'),
      hint: expect.stringContaining(at('unit.areas')),
    });
    rmSync(at('state'));
    await expect(openUnitStore(at('unit'))).rejects.toMatchObject({
      code: 'file-missing',
      file: at('state'),
    });
  });

  test('a list that is damaged is told with its field', async () => {
    writeFileSync(at('unit.areas'), '{"format": "fieldseal.unit-areas/1", "areas": [{"name": "state"}]}');
    await expect(openUnitStore(at('unit'))).rejects.toMatchObject({ code: 'file-invalid' });
  });
});
