import { mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterAll, describe, expect, test } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { defaultMemoryMap } from '../../src/image/index.ts';
import {
  beginLife,
  createUnitFile,
  HEADER_SIZE,
  memoryStore,
  openUnit,
  openUnitFile,
  UnitFileError,
  unitFileLayout,
} from '../../src/unit/index.ts';
import { createFileStore, openFileStore } from '../../src/workspace/file-store.ts';
import { exampleRecord } from '../unit/records.ts';
import { bringAndKeep, mustStart } from './cut-proof.ts';
import { fakeDecision, imageOf, release } from './fake-decision.ts';
import { seededNoise } from './noise.ts';

const record = exampleRecord();
const content = { record, marksKey: { trial_hex: '5a'.repeat(32) } };
const layout = unitFileLayout(record.memory);
const folder = mkdtempSync(join(tmpdir(), 'unit-file-'));
afterAll(() => rmSync(folder, { recursive: true }));

function newFile() {
  const store = memoryStore(layout.size);
  createUnitFile(store, content);
  return store;
}

function codeOf(body: () => unknown): string {
  try {
    body();
  } catch (error) {
    if (error instanceof UnitFileError) return error.code;
    throw error;
  }
  return 'none';
}

describe('unit file: a header that a stranger can read', () => {
  test('one line of JSON names where flash, regions, notes and memory lie', () => {
    const { bytes } = newFile();
    const line = new TextDecoder().decode(bytes.subarray(0, bytes.indexOf(0x0a)));
    const header = JSON.parse(line);
    expect(header).toMatchObject({
      format: 'fieldseal.unit-file/1',
      header_size_bytes: HEADER_SIZE,
      flash: { offset: HEADER_SIZE, size: layout.flash.size },
      record: { serial: '0001' },
    });
    const names = header.regions.map(({ name }: { name: string }) => name);
    expect(names).toEqual(['slot A', 'slot B', 'envelope A', 'envelope B', 'state', 'boot log']);
    expect(header.regions[0]).toEqual({
      name: 'slot A',
      offset: HEADER_SIZE,
      size: 262144,
      address: 0x08000000,
    });
    expect(header.memory.offset + header.memory.size).toBe(bytes.length);
  });

  test('the second line is the SHA-256 of the first, and the header ends with a line feed', () => {
    const { bytes } = newFile();
    const end = bytes.indexOf(0x0a);
    const digest = toHex(sha256(bytes.subarray(0, end)));
    expect(new TextDecoder().decode(bytes.subarray(end, end + 73))).toBe(`\nsha256 ${digest}\n`);
    expect(bytes[HEADER_SIZE - 1]).toBe(0x0a);
  });

  test('comes back as it was written', () => {
    const recovery = { size_bytes: 12, digest: 'ab'.repeat(32) };
    const store = memoryStore(layout.size);
    createUnitFile(store, { ...content, recovery });
    const { record: read, marksKey, recovery: readRecovery, recoveryImage } = openUnitFile(store);
    expect({ record: read, marksKey, recovery: readRecovery }).toEqual({ ...content, recovery });
    expect(recoveryImage).toEqual({ size: 12, digest: fromHex('ab'.repeat(32)) });
  });
});

describe('unit file: damage is a clear error', () => {
  test('any byte of the header changed', () => {
    const { bytes } = newFile();
    const end = bytes.indexOf(0x0a) + 80;
    fc.assert(
      fc.property(fc.nat(end), fc.integer({ min: 1, max: 255 }), (at, change) => {
        const damaged = memoryStore(bytes.length, bytes);
        damaged.bytes[at]! ^= change;
        expect(['header-damaged', 'not-a-unit-file']).toContain(codeOf(() => openUnitFile(damaged)));
      }),
    );
  });

  test('whatever is no unit file', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 300 }), (bytes) => {
        expect(codeOf(() => openUnitFile(memoryStore(bytes.length, bytes)))).toBe('not-a-unit-file');
      }),
    );
  });

  test('a file cut short, or with something added', () => {
    const { bytes } = newFile();
    expect(codeOf(() => openUnitFile(memoryStore(layout.size - 1, bytes.subarray(0, -1))))).toBe(
      'size-wrong',
    );
    expect(codeOf(() => openUnitFile(memoryStore(layout.size + 1, bytes)))).toBe('size-wrong');
  });

  test('a header with a right digest over a wrong record, or over no JSON', () => {
    for (const [text, words] of [
      ['{"format":"fieldseal.unit-file/1"}', 'header_size_bytes'],
      ['{nonsense', 'no JSON'],
    ] as const) {
      const store = memoryStore(layout.size);
      const line = new TextEncoder().encode(text);
      const digest = new TextEncoder().encode(`\nsha256 ${toHex(sha256(line))}\n`);
      store.bytes.fill(0x20, 0, HEADER_SIZE);
      store.write(0, line);
      store.write(line.length, digest);
      store.bytes[HEADER_SIZE - 1] = 0x0a;
      expect(codeOf(() => openUnitFile(store))).toBe('header-invalid');
      expect(() => openUnitFile(store)).toThrow(words);
    }
  });

  test('a record that does not fit', () => {
    const denied = Array.from({ length: 256 }, () => 'ab'.repeat(32));
    const unit_keys = Array.from({ length: 8 }, () => ({
      purpose: 'report' as const,
      spki: '30'.repeat(1000),
      secret: { pem: 'x'.repeat(8000) },
    }));
    const large = { ...content, record: { ...record, denied_signers: denied, unit_keys } };
    expect(codeOf(() => createUnitFile(memoryStore(layout.size), large))).toBe('header-too-large');
  });
});

describe('unit file: on disk, in place', () => {
  const parts = (path: string) => {
    const store = openFileStore(path);
    const file = openUnitFile(store);
    const flash = file.flash({ noise: seededNoise(1) });
    const key = fromHex('5a'.repeat(32));
    const { memory } = file;
    const unit = () =>
      openUnit({
        record: file.record,
        macKeys: new Map(),
        marksKey: key,
        flash,
        decision: fakeDecision,
        memory,
      });
    return { store, flash, key, unit };
  };

  test('a life over several processes; what runs is remembered between them', () => {
    const path = join(folder, 'a.unit');
    const created = createFileStore(path, layout.size);
    createUnitFile(created, content);
    created.close();
    const begun = parts(path);
    beginLife(record, begun.flash, begun.key);
    begun.store.close();
    const first = parts(path);
    bringAndKeep(release(1, imageOf(10_000, 1)))(first.unit());
    first.store.flush();
    first.store.close();
    const second = parts(path);
    expect(second.unit().keep()).toMatchObject({ verdict: 'accepted', already: true });
    mustStart(second.unit(), 1);
    second.store.close();
  });

  test('two slots of 2 GiB take no more disk than what is in them', () => {
    const path = join(folder, 'big.unit');
    const memory = defaultMemoryMap({ core: 'none', slotSize: 2 ** 31 });
    const big = unitFileLayout(memory);
    const store = createFileStore(path, big.size);
    createUnitFile(store, { ...content, record: { ...record, memory } });
    expect(statSync(path).size).toBeGreaterThan(2 ** 32);
    expect(statSync(path).blocks * 512).toBeLessThan(2 ** 20);
    expect(
      openUnitFile(store)
        .flash({ noise: seededNoise(1) })
        .read(2 ** 32 - 8, 4),
    ).toEqual(new Uint8Array(4).fill(0xff));
    store.close();
  });

  test('an existing file is never overwritten', () => {
    const path = join(folder, 'there.unit');
    writeFileSync(path, 'x');
    expect(() => createFileStore(path, 10)).toThrow('there already');
    expect(readFileSync(path, 'utf8')).toBe('x');
  });

  test('a read behind the end of the file', () => {
    const path = join(folder, 'short.unit');
    const store = createFileStore(path, 10);
    expect(() => store.read(8, 4)).toThrow(RangeError);
    store.close();
  });
});
