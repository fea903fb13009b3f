/**
 * Firmware files of every kind through `seal`: what `srec_cat`, `objcopy` and `arm-none-eabi-objcopy` make of them is the
 * measure. Real files: Debian's firmware-microbit-micropython (Intel HEX) and opensbi (64-bit ELF).
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync, truncateSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage } from './command.ts';

const MICROBIT = '/usr/share/firmware-microbit-micropython/firmware.hex';
const OPENSBI = '/usr/lib/riscv64-linux-gnu/opensbi/generic/fw_jump.elf';
const available = (tool: string) => spawnSync(tool, ['--version']).status === 0;

const bench = new Bench();
const WS = { cwd: 'WS' };
const file = (name: string) => bench.path('WS', name);
const put = (name: string, content: string | Buffer) => writeFileSync(file(name), content);
const sha256 = (bytes: Buffer) => createHash('sha256').update(bytes).digest('hex');
const tool = (name: string, ...args: string[]) =>
  execFileSync(name, args, { cwd: bench.path('WS'), stdio: 'pipe' });

let sealed = 0;

/** Seals and gives what stands in the JSON of the image. */
function imageOf(
  source: string,
  className = 'vent',
  more = '',
): { digest: string; size_bytes: number; left_out: unknown[] } {
  const line = `seal ${source} --class ${className} --version 1.0.${++sealed} --out out-${sealed}.suit --json ${more}`;
  return bench.ok(line, WS).json.image;
}

/** Seals in vain; gives the refusal. */
function refusal(
  source: string,
  className = 'vent',
  more = '',
  status = 1,
): { code: string; message: string } {
  const line = `seal ${source} --class ${className} --version 1.0.0 --out refused.suit --json ${more}`;
  const ran = bench.ok(line, { ...WS, status });
  expect(existsSync(file('refused.suit'))).toBe(false);
  expect(ran.json.error.message.length).toBeGreaterThan(20);
  return ran.json.error;
}

/** Edits a class file. */
function edit(className: string, ...changes: [string | RegExp, string][]): void {
  const path = file(`classes/${className}.yaml`);
  const text = changes.reduce((now, [from, to]) => now.replace(from, to), readFileSync(path, 'utf8'));
  writeFileSync(path, text);
}

/** One Intel HEX data record. */
function hexRecord(address: number, bytes: readonly number[], type = 0): string {
  const body = [bytes.length, (address >> 8) & 255, address & 255, type, ...bytes];
  const sum = (256 - (body.reduce((a, b) => a + b, 0) & 255)) & 255;
  return `:${[...body, sum].map((byte) => byte.toString(16).padStart(2, '0').toUpperCase()).join('')}`;
}

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('class add plain --model PL-1 --scheme asymmetric --core none', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  put('app.bin', cortexImage(20_000));
});

describe('formats', () => {
  const image = cortexImage(20_000);

  it.skipIf(!available('srec_cat'))('raw, Intel HEX and S-record of one image give one digest', () => {
    const from = ['app.bin', '-binary', '-offset', '0x08000000', '-execution-start-address', '0x08000100'];
    tool('srec_cat', ...from, '-o', 'app.hex', '-intel');
    tool('srec_cat', ...from, '-o', 'app.s19', '-motorola');
    tool('srec_cat', ...from.slice(0, 4), '-o', 'endless.s19', '-motorola');
    expect(refusal('endless.s19').message).toContain('-execution-start-address');
    for (const name of ['app.bin', 'app.hex', 'app.s19'])
      expect(imageOf(name), name).toMatchObject({ digest: sha256(image), size_bytes: image.length });
  });

  it.skipIf(!available('arm-none-eabi-gcc'))(
    'a 32-bit ELF gives what arm-none-eabi-objcopy makes of it',
    () => {
      put(
        'app.c',
        `extern unsigned stack_top; void reset(void) { for (;;) {} }
       __attribute__((section(".vectors"), used)) void *const vectors[2] = { &stack_top, reset };
       __attribute__((section(".far"), used)) const unsigned far_away = 0x12345678;`,
      );
      put(
        'app.ld',
        `ENTRY(reset) stack_top = 0x20002000;
       SECTIONS { .vectors 0x08000000 : { *(.vectors) } .text : { *(.text*) } .far 0x08001000 : { *(.far) } }`,
      );
      tool(
        'arm-none-eabi-gcc',
        '-mcpu=cortex-m3',
        '-mthumb',
        '-nostdlib',
        '-T',
        'app.ld',
        '-o',
        'app.elf',
        'app.c',
      );
      tool('arm-none-eabi-objcopy', '-O', 'binary', 'app.elf', 'app-elf.bin');
      expect(imageOf('app.elf')).toMatchObject({ digest: sha256(readFileSync(file('app-elf.bin'))) });
    },
  );

  it.skipIf(!existsSync(OPENSBI))("a 64-bit ELF (Debian's opensbi) for a class without vector table", () => {
    edit('plain', [/link_address: 0x\w+/, 'link_address: 0x80000000']);
    tool('objcopy', '-I', 'elf64-little', '-O', 'binary', OPENSBI, 'opensbi.bin');
    expect(imageOf(OPENSBI, 'plain')).toMatchObject({ digest: sha256(readFileSync(file('opensbi.bin'))) });
    expect(refusal(OPENSBI).code).toBeTruthy();
  });

  it.skipIf(!existsSync(MICROBIT))(
    'real firmware in Intel HEX: data outside the slot needs a named range to leave out',
    () => {
      bench.ok('class add bit --model MB-1 --scheme asymmetric', WS);
      edit('bit', ['link_address: 0x08000000', 'link_address: 0x00000000']);
      const outside = refusal(MICROBIT, 'bit');
      expect(outside.message).toMatch(/line \d+/);
      expect(outside.message).toMatch(/0x100010c0/i);
      edit('bit', [
        'leave_out: []',
        'leave_out:\n    - { name: customer-registers, address: 0x100010C0, size: 64 }',
      ]);
      tool('srec_cat', MICROBIT, '-intel', '-crop', '0', '0x10000000', '-o', 'bit.bin', '-binary');
      const image = imageOf(MICROBIT, 'bit');
      expect(image.digest).toBe(sha256(readFileSync(file('bit.bin'))));
      expect(image.left_out).toEqual([{ name: 'customer-registers', address: 0x1000_10c0, size_bytes: 28 }]);
      const record = JSON.parse(readFileSync(file('releases/bit/1.json'), 'utf8'));
      expect(record.images[0].left_out).toEqual(image.left_out);
      expect(record.images[0].source).toMatchObject({ format: 'ihex', file: 'firmware.hex' });
    },
  );
});

describe('files that are no image for the slot', () => {
  const start = () => [hexRecord(0, [0x08, 0x00], 4), hexRecord(0, [0, 0x20, 0, 0x20, 1, 1, 0, 8])];
  const end = ':00000001FF';

  it('each mistake of a HEX file is told with line and record', () => {
    const wrong: [string, string[], RegExp][] = [
      [
        'checksum',
        [...start(), hexRecord(16, [1, 2, 3, 4]).replace(/..$/, '00'), end],
        /line 3.*checksum|checksum.*line 3/i,
      ],
      ['overlap', [...start(), hexRecord(4, [9, 9, 9, 9]), end], /line 3/],
      ['no end', start(), /end record/],
      ['cut', [...start(), hexRecord(16, [1, 2, 3, 4]).slice(0, 12)], /line 3/],
      ['outside', [...start(), hexRecord(0, [0x09, 0x00], 4), hexRecord(0, [1]), end], /line 4.*0x09000000/],
      ['after the end', [...start(), end, hexRecord(16, [1])], /line 4/],
      ['no record', [...start(), 'hello', end], /line 3/],
    ];
    for (const [what, lines, says] of wrong) {
      put('wrong.hex', `${lines.join('\n')}\n`);
      expect(refusal('wrong.hex').message, what).toMatch(says);
    }
  });

  it('a S-record file with a wrong checksum or without end', () => {
    put('wrong.s19', 'S30D08000000002000200101000899\nS70508000000F2\n');
    expect(refusal('wrong.s19').message).toMatch(/line 1/);
  });

  it('a picture, an empty file, a folder, a file that is not there', () => {
    put('picture.hex', Buffer.from('\x89PNG\r\n\x1a\n\0\0\0\rIHDR', 'latin1'));
    expect(refusal('picture.hex').message).toContain('PNG');
    expect(refusal('picture.hex', 'vent', '--image-format ihex').message).toContain('PNG');
    put('empty.bin', '');
    expect(refusal('empty.bin').message).toBeTruthy();
    expect(refusal('classes', 'vent', '', 2).message).toBeTruthy();
    expect(refusal('nowhere.bin', 'vent', '', 3).message).toContain('nowhere.bin');
    put('cut.elf', Buffer.from('\x7fELF\x01\x01\x01', 'latin1'));
    expect(refusal('cut.elf').message).toBeTruthy();
  });

  it('an image of 4 TiB for a slot of 256 KiB is refused at once, unread', () => {
    put('huge.bin', '');
    // Nobody reads that much before this suite is given up.
    truncateSync(file('huge.bin'), 2 ** 42);
    expect(refusal('huge.bin').message).toMatch(/4 TiB.*256 KiB/);
  });

  it('a vector table that no Cortex-M starts from', () => {
    const wrong = (change: (image: Buffer) => void) => {
      const image = cortexImage(1_000);
      change(image);
      put('vectors.bin', image);
      return refusal('vectors.bin').message;
    };
    expect(wrong((image) => image.writeUInt32LE(0x1000_0000, 0))).toMatch(/stack pointer/);
    expect(wrong((image) => image.writeUInt32LE(0x0800_0100, 4))).toMatch(/Thumb/);
    expect(wrong((image) => image.writeUInt32LE(0x0900_0101, 4))).toMatch(/reset vector/);
    expect(imageOf('vectors.bin', 'plain').size_bytes).toBe(1_000);
  });

  it('took no sequence number with any of it', () => {
    const { last } = bench.ok('counter show vent --json', WS).json;
    expect(last).toBe(readdirSync(file('releases/vent')).length);
  });
});

describe('slot shapes', () => {
  it('linked slots take an image for each, and a unit takes the one for its free slot', () => {
    bench.ok('class add linked --model LK-1 --scheme asymmetric --shape linked', WS);
    put('a.bin', cortexImage(8_000, 0x41, 0x0800_0000));
    put('b.bin', cortexImage(8_000, 0x42, 0x0804_0000));
    expect(bench.run('seal a.bin --class linked --version 1.0.0 --out l.suit', WS).stderr).toContain(
      '--slot-b',
    );
    bench.ok('seal b.bin --slot-b a.bin --class linked --version 1.0.0 --out l.suit', { ...WS, status: 1 });
    bench.ok('seal a.bin --slot-b b.bin --class linked --version 1.0.0 --out l1.suit', WS);
    bench.ok('seal a.bin --slot-b b.bin --class linked --version 1.1.0 --out l2.suit', WS);
    bench.ok('provision linked --serial 1 --first l1.suit --out linked.unit', WS);
    const first = bench.ok('boot linked.unit --json', WS).json;
    expect(first).toMatchObject({ slot: 'A', image_digest: sha256(readFileSync(file('a.bin'))) });
    bench.ok('install l2.suit --unit linked.unit', WS);
    expect(bench.ok('boot linked.unit --json', WS).json).toMatchObject({
      slot: 'B',
      version: '1.1.0',
      image_digest: sha256(readFileSync(file('b.bin'))),
    });
    bench.ok('keep linked.unit', WS);
  });

  it('detached, the images of linked slots are given by hand', () => {
    bench.ok('seal a.bin --slot-b b.bin --class linked --version 1.2.0 --detached --out l3.suit', WS);
    bench.ok('check l3.suit --unit linked.unit', { ...WS, status: 4 });
    bench.ok('check l3.suit --unit linked.unit --image a.bin', WS);
    bench.ok('check l3.suit --unit linked.unit --image b.bin', { ...WS, status: 1 });
  });

  it('one slot with a staging area and a recovery image', () => {
    bench.ok('class add staged --model ST-1 --scheme asymmetric --shape staged', WS);
    put('recovery.bin', cortexImage(3_000, 0x77));
    for (const [version, fill] of [
      ['1.0.0', 0x31],
      ['2.0.0', 0x32],
    ] as const) {
      put(`staged-${version}.bin`, cortexImage(9_000, fill));
      bench.ok(
        `seal staged-${version}.bin --class staged --version ${version} --out staged-${version}.suit`,
        WS,
      );
    }
    bench.ok(
      'provision staged --serial 1 --first staged-1.0.0.suit --recovery recovery.bin --out staged.unit',
      WS,
    );
    expect(bench.ok('boot staged.unit --json', WS).json).toMatchObject({ version: '1.0.0', state: 'kept' });
    bench.ok('install staged-2.0.0.suit --unit staged.unit', WS);
    expect(bench.ok('boot staged.unit --json', WS).json).toMatchObject({
      version: '2.0.0',
      state: 'on trial',
    });
    bench.ok('keep staged.unit', WS);
    // Not kept: no former image is left, so the recovery image starts, and takes an install.
    bench.ok('provision staged --serial 2 --recovery recovery.bin --out bare.unit', WS);
    expect(bench.ok('boot bare.unit --json', WS).json).toMatchObject({ state: 'recovery', version: null });
    bench.ok('install staged-2.0.0.suit --unit bare.unit', WS);
    expect(bench.ok('boot bare.unit --json', WS).json).toMatchObject({ version: '2.0.0' });
    expect(bench.ok('boot bare.unit --json', WS).json).toMatchObject({ state: 'recovery' });
  });
});

describe('a class for large images', () => {
  it('seals an image of its slot size detached, in an envelope of a few kilobytes, and names the digest OpenSSL names', () => {
    bench.ok('class add big --model BIG-1 --scheme asymmetric --core none --slot-size 2GiB', WS);
    put('big.bin', '');
    truncateSync(file('big.bin'), 200_000_000);
    const json = bench.ok(
      'seal big.bin --class big --version 1.5.0 --detached --out big.suit --json',
      WS,
    ).json;
    expect(json.envelope.size_bytes).toBeLessThan(4_096);
    expect(json.detached).toBe(true);
    const told = String(tool('openssl', 'dgst', '-sha256', '-r', 'big.bin'));
    expect(json.image.digest).toBe(told.slice(0, 64));
    bench.ok('provision big --serial 1 --out big.unit', WS);
    bench.ok('check big.suit --unit big.unit', { ...WS, status: 4 });
    truncateSync(file('big.bin'), 2 ** 31 + 1);
    bench.ok('seal big.bin --class big --version 1.6.0 --detached --out too-big.suit', { ...WS, status: 1 });
  });
});
