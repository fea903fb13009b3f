import { describe, expect, test } from 'vitest';
import {
  checkMemoryMap,
  defaultMemoryMap,
  formatAddress,
  formatSize,
  linkRegion,
  type MemoryMap,
  parseSize,
} from '../../src/image/index.ts';
import { refused } from './helpers.ts';

const KIB = 1024;

function changed(change: (map: MemoryMap) => void, map = defaultMemoryMap({ core: 'cortex-m' })): string[] {
  change(map);
  return checkMemoryMap(map).map(({ path }) => path.join('.'));
}

describe('memory map: the default (issue 2: two remapped 256 KiB slots)', () => {
  test('Cortex-M: banks at 0x08000000 and 0x08040000, linked for the first, envelopes, state and boot log behind them', () => {
    expect(defaultMemoryMap({ core: 'cortex-m' })).toEqual({
      shape: 'remapped',
      core: 'cortex-m',
      link_address: 0x08000000,
      slots: [
        { name: 'A', address: 0x08000000, size: 256 * KIB },
        { name: 'B', address: 0x08040000, size: 256 * KIB },
      ],
      envelopes: { address: 0x08080000, size: 16 * KIB },
      state: { address: 0x08084000, size: 8 * KIB },
      boot_log: { address: 0x08086000, size: 8 * KIB },
      flash: { erase_page: 4096, write_unit: 8, erased_value: 0xff, endurance: 10000 },
      ram: { address: 0x20000000, size: 64 * KIB },
      leave_out: [],
    });
  });

  for (const core of ['cortex-m', 'none'] as const) {
    for (const shape of ['remapped', 'position-independent', 'linked', 'staged'] as const) {
      test(`${core}, ${shape}: the default is sound`, () => {
        expect(checkMemoryMap(defaultMemoryMap({ core, shape }))).toEqual([]);
        expect(checkMemoryMap(defaultMemoryMap({ core, shape, slotSize: 4 * KIB }))).toEqual([]);
      });
    }
  }

  test('core none: 2 GiB slots begin at 0 and are sound', () => {
    const map = defaultMemoryMap({ core: 'none', slotSize: parseSize('2GiB') });
    expect(map.slots.map(({ address }) => address)).toEqual([0, 2 ** 31]);
    expect(checkMemoryMap(map)).toEqual([]);
  });
});

describe('memory map: the range an image is linked for (design.md, two slots, two link addresses)', () => {
  test('remapped: the link address whichever slot is named, and the smaller size', () => {
    const map = {
      ...defaultMemoryMap({ core: 'cortex-m', shape: 'position-independent' }),
      link_address: 0x1000,
    };
    map.slots[1]!.size = 8 * KIB;
    expect(linkRegion(map, 'B')).toEqual({ name: 'B', address: 0x1000, size: 8 * KIB });
  });

  test('linked: each slot has its own address', () => {
    const map = defaultMemoryMap({ core: 'cortex-m', shape: 'linked' });
    expect(linkRegion(map)?.address).toBe(0x08000000);
    expect(linkRegion(map, 'B')?.address).toBe(0x08040000);
  });

  test('staged: the running slot, also for an image that waits in the staging area', () => {
    const map = defaultMemoryMap({ core: 'cortex-m', shape: 'staged' });
    expect(linkRegion(map, 'staging')).toEqual(map.slots[0]);
    expect(linkRegion(map, 'A')).toBeUndefined();
  });
});

describe('memory map: mistakes, each with its field', () => {
  const cases: [string, string, (map: MemoryMap) => void][] = [
    ['an unknown shape', 'shape', (map) => (map.shape = 'three' as MemoryMap['shape'])],
    ['an unknown core', 'core', (map) => (map.core = 'other' as MemoryMap['core'])],
    ['one slot only', 'slots', (map) => map.slots.pop()],
    ['a slot without size', 'slots.1.size', (map) => (map.slots[1]!.size = 0)],
    ['a negative address', 'slots.0.address', (map) => (map.slots[0]!.address = -4096)],
    ['a fraction', 'state.size', (map) => (map.state.size = 4096.5)],
    ['an end beyond 32 bits', 'state.size', (map) => (map.state.address = 2 ** 32 - 4096)],
    ['no erase page', 'flash.erase_page', (map) => (map.flash.erase_page = 0)],
    ['a write unit that does not divide the page', 'flash.write_unit', (map) => (map.flash.write_unit = 24)],
    ['an erased value that is no byte', 'flash.erased_value', (map) => (map.flash.erased_value = 256)],
    ['no endurance', 'flash.endurance', (map) => (map.flash.endurance = 0)],
    ['no RAM with a Cortex-M', 'ram.size', (map) => (map.ram.size = 0)],
    [
      'a left-out range without size',
      'leave_out.0.size',
      (map) => map.leave_out.push({ name: 'x', address: 1, size: 0 }),
    ],
    ['a slot inside a page', 'slots.1.address', (map) => (map.slots[1]!.address += 2 ** 24 + 128)],
    ['two slots of one name', 'slots.1.name', (map) => (map.slots[1]!.name = 'A')],
    ['a slot without name', 'slots.0.name', (map) => (map.slots[0]!.name = '')],
    ['banks of different size', 'slots.1.size', (map) => (map.slots[1]!.size = 128 * KIB)],
    [
      'a link address off the vector table alignment',
      'link_address',
      (map) => (map.link_address = 0x08000040),
    ],
    ['a link address with no room behind it', 'link_address', (map) => (map.link_address = 2 ** 32 - 4096)],
    ['envelopes that share a page', 'envelopes.size', (map) => (map.envelopes.size = 12 * KIB)],
    ['a state area of one page', 'state.size', (map) => (map.state.size = 4096)],
    ['slots that overlap', 'slots.1.address', (map) => (map.slots[1]!.address = 0x08020000)],
    ['state inside a slot', 'state.address', (map) => (map.state.address = 0x08000000)],
    ['RAM over a slot', 'ram.address', (map) => (map.ram.address = 0x0803f000)],
  ];
  for (const [title, field, change] of cases) {
    test(title, () => expect(changed(change)).toContain(field));
  }

  test('envelopes too small for a certificate chain', () => {
    const fields = changed((map) => {
      map.flash.erase_page = 512;
      map.envelopes.size = 1024;
    });
    expect(fields).toEqual(['envelopes.size']);
  });

  test('a staging area smaller than the slot it fills; a link address where slots have their own', () => {
    const staged = defaultMemoryMap({ core: 'none', shape: 'staged' });
    expect(changed((map) => (map.slots[1]!.size = 4096), staged)).toEqual(['slots.1.size']);
    const linked = defaultMemoryMap({ core: 'none', shape: 'linked' });
    expect(changed((map) => (map.link_address = 0), linked)).toEqual(['link_address']);
  });

  test('a recovery image is an area like the others', () => {
    const map = defaultMemoryMap({ core: 'cortex-m', shape: 'staged' });
    expect(changed((it) => (it.recovery!.address = it.slots[0]!.address), map)).toEqual(['recovery.address']);
  });

  test('why the state area has two pages stands in the problem', () => {
    const map = defaultMemoryMap({ core: 'cortex-m' });
    map.state.size = 4096;
    expect(checkMemoryMap(map)[0]!.says).toMatch(/stay readable .* while the other page is erased/);
  });
});

describe('sizes and addresses as text', () => {
  const sizes: [string, number][] = [
    ['256KiB', 262144],
    ['256 KiB', 262144],
    ['2GiB', 2 ** 31],
    ['1MiB', 2 ** 20],
    ['3TiB', 3 * 2 ** 40],
    ['0x40000', 262144],
    ['262144', 262144],
    [' 16B ', 16],
  ];
  for (const [text, size] of sizes) test(`${text} is ${size}`, () => expect(parseSize(text)).toBe(size));

  for (const text of [
    '',
    '256K',
    '256KB',
    '1.5MiB',
    '-1',
    '0x',
    'KiB',
    '9007199254740992',
    '8192TiB',
    '1e3',
  ]) {
    test(`${JSON.stringify(text)} is refused`, () => void refused('bad-size', () => parseSize(text)));
  }

  test('written in the largest unit that divides them', () => {
    expect([0, 1, 1000, 1024, 1536, 2 ** 31].map(formatSize)).toEqual([
      '0 bytes',
      '1 byte',
      '1000 bytes',
      '1 KiB',
      '1536 bytes',
      '2 GiB',
    ]);
    expect([0, 0x08000000, 2 ** 40].map(formatAddress)).toEqual([
      '0x00000000',
      '0x08000000',
      '0x10000000000',
    ]);
  });
});
