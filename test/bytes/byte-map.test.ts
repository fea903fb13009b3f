import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { ByteMap, toHex } from '../../src/bytes/index.ts';

describe('a map keyed by bytes', () => {
  it('compares keys whole: the same last bytes are not the same key', () => {
    const map = new ByteMap<string>(8);
    map.add(Uint8Array.of(1, 9, 9, 9, 9), 'one');
    map.add(Uint8Array.of(2, 9, 9, 9, 9), 'two');
    expect(map.get(Uint8Array.of(1, 9, 9, 9, 9))).toBe('one');
    expect(map.get(Uint8Array.of(2, 9, 9, 9, 9))).toBe('two');
    expect(map.get(Uint8Array.of(9, 9, 9, 9))).toBeUndefined();
  });

  it.each([
    ['', Uint8Array.of(1, 2, 3)],
    [' (a Buffer, whose slice is its own memory)', Buffer.of(1, 2, 3)],
  ])('keeps a copy of the key: changing the bytes afterwards changes nothing%s', (_, key) => {
    const map = new ByteMap<string>(8);
    map.add(key, 'value');
    key[0] = 7;
    expect(map.get(key)).toBeUndefined();
    expect(map.get(Uint8Array.of(1, 2, 3))).toBe('value');
  });

  it('empties itself at its limit', () => {
    const map = new ByteMap<number>(2);
    for (const i of [0, 1, 2]) map.add(Uint8Array.of(i), i);
    expect([0, 1, 2].map((i) => map.get(Uint8Array.of(i)))).toEqual([undefined, undefined, 2]);
  });

  it('property: as a map of hexadecimal texts', () => {
    fc.assert(
      fc.property(fc.array(fc.uint8Array({ maxLength: 6 })), (keys) => {
        const map = new ByteMap<number>(1000);
        const model = new Map<string, number>();
        keys.forEach((key, i) => {
          if (!model.has(toHex(key))) map.add(key, i);
          if (!model.has(toHex(key))) model.set(toHex(key), i);
        });
        for (const key of keys) expect(map.get(key)).toBe(model.get(toHex(key)));
      }),
    );
  });
});
