import { createHash } from 'node:crypto';
import * as fs from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { type Disk, fileSource, filesOn } from '../../src/workspace/index.ts';
import { emptyFolder, failure } from './setup.ts';

/** The real disk, except that one call fails with a given code from its n-th use on. */
function failingDisk(call: keyof Disk, code: string, from = 1): Disk {
  let uses = 0;
  const real = { ...fs }[call] as (...args: unknown[]) => unknown;
  const failing = (...args: unknown[]) => {
    uses += 1;
    if (uses >= from) throw Object.assign(new Error(code), { code });
    return real(...args);
  };
  return { ...fs, [call]: failing };
}

describe('durable files: whole or absent', () => {
  test('a new file is created once; a second creation changes nothing and says so', () => {
    const path = join(emptyFolder(), 'a.json');
    expect(filesOn().createNew(path, 'first')).toBe(true);
    expect(filesOn().createNew(path, 'second')).toBe(false);
    expect(fs.readFileSync(path, 'utf8')).toBe('first');
  });

  test('a replaced file keeps its old content until the new one is whole', async () => {
    const folder = emptyFolder();
    const path = join(folder, 'a.json');
    filesOn().createNew(path, 'old');
    await failure(() => filesOn(failingDisk('writeSync', 'ENOSPC')).replace(path, 'new'));
    expect(fs.readFileSync(path, 'utf8')).toBe('old');
    expect(fs.readdirSync(folder)).toEqual(['a.json']);
    filesOn().replace(path, 'new');
    expect(fs.readFileSync(path, 'utf8')).toBe('new');
  });

  const steps: [keyof Disk, string, string][] = [
    ['openSync', 'EACCES', 'no-permission'],
    ['openSync', 'EROFS', 'read-only'],
    ['writeSync', 'ENOSPC', 'disk-full'],
    ['writeSync', 'EDQUOT', 'disk-full'],
    ['writeSync', 'EFBIG', 'disk-full'],
    ['fsyncSync', 'EIO', 'file-trouble'],
    ['linkSync', 'ENOSPC', 'disk-full'],
  ];
  test.each(steps)(
    '%s failing with %s ends as %s, and leaves no file and no part of one',
    async (call, code, expected) => {
      const folder = emptyFolder();
      const error = await failure(() =>
        filesOn(failingDisk(call, code)).createNew(join(folder, 'a'), 'text'),
      );
      expect(error.code).toBe(expected);
      expect(error.message).toContain('cannot write');
      expect(error.hint).toBeTruthy();
      expect(fs.readdirSync(folder)).toEqual([]);
    },
  );

  test('on a file system without hard links creation stays exclusive', () => {
    const folder = emptyFolder();
    const files = filesOn(failingDisk('linkSync', 'EPERM'));
    expect(files.createNew(join(folder, 'a'), 'first')).toBe(true);
    expect(files.createNew(join(folder, 'a'), 'second')).toBe(false);
    expect(fs.readFileSync(join(folder, 'a'), 'utf8')).toBe('first');
    expect(fs.readdirSync(folder)).toEqual(['a']);
  });

  test('a secret file is for its owner only', () => {
    const path = join(emptyFolder(), 'key.pem');
    filesOn().createNew(path, 'x', { secret: true });
    expect(fs.statSync(path).mode & 0o777).toBe(0o600);
  });
});

describe('outputs appear with their last byte', () => {
  test('nothing stands at the place before commit', () => {
    const folder = emptyFolder();
    const output = filesOn().beginOutput(join(folder, 'app.suit'));
    output.write(new Uint8Array(100_000));
    expect(fs.existsSync(join(folder, 'app.suit'))).toBe(false);
    output.commit();
    expect(fs.statSync(join(folder, 'app.suit')).size).toBe(100_000);
    expect(fs.readdirSync(folder)).toEqual(['app.suit']);
  });

  test('an abandoned output leaves nothing', () => {
    const folder = emptyFolder();
    const output = filesOn().beginOutput(join(folder, 'app.suit'));
    output.write(new Uint8Array(10));
    output.abandon();
    expect(fs.readdirSync(folder)).toEqual([]);
  });

  test('bytes written on another thread lie in order with the others, also where the disk takes a few at a time', async () => {
    const folder = emptyFolder();
    const few = ((
      handle: number,
      bytes: Uint8Array,
      offset: number,
      length: number,
      position: null,
      done: never,
    ) => fs.write(handle, bytes, offset, Math.min(length, 7), position, done)) as Disk['write'];
    const output = filesOn({ ...fs, write: few }).beginOutput(join(folder, 'app.suit'));
    output.write(Buffer.from('head,'));
    await output.writeMeanwhile(Buffer.from('a body of many pieces,'));
    await output.writeMeanwhile(new Uint8Array(0));
    output.write(Buffer.from('tail'));
    output.commit();
    expect(fs.readFileSync(join(folder, 'app.suit'), 'utf8')).toBe('head,a body of many pieces,tail');
  });

  test('a disk that fills up under another thread ends as a full disk, and nothing stays', async () => {
    const folder = emptyFolder();
    const full = ((...args: unknown[]) => {
      const done = args.at(-1) as (error: Error) => void;
      setImmediate(done, Object.assign(new Error('ENOSPC'), { code: 'ENOSPC' }));
    }) as Disk['write'];
    const output = filesOn({ ...fs, write: full }).beginOutput(join(folder, 'app.suit'));
    const error = await failure(() => output.writeMeanwhile(new Uint8Array(10)));
    expect(error.code).toBe('disk-full');
    expect(error.message).toContain('cannot write');
    output.abandon();
    expect(fs.readdirSync(folder)).toEqual([]);
  });

  test('bytes that another thread cannot make durable end as trouble with the file, and nothing stays', async () => {
    const folder = emptyFolder();
    const broken = ((_: number, done: (error: Error) => void) =>
      setImmediate(done, Object.assign(new Error('EIO'), { code: 'EIO' }))) as unknown as Disk['fsync'];
    const output = filesOn({ ...fs, fsync: broken }).beginOutput(join(folder, 'app.suit'));
    output.write(new Uint8Array(10));
    expect((await failure(() => output.settleMeanwhile())).code).toBe('file-trouble');
    output.abandon();
    expect(fs.readdirSync(folder)).toEqual([]);
  });

  test('an existing file is kept unless force is given', async () => {
    const path = join(emptyFolder(), 'app.suit');
    fs.writeFileSync(path, 'old');
    const output = filesOn().beginOutput(path);
    output.write(Buffer.from('new'));
    expect((await failure(() => output.commit())).code).toBe('output-exists');
    output.abandon();
    expect(fs.readFileSync(path, 'utf8')).toBe('old');
    const forced = filesOn().beginOutput(path, { force: true });
    forced.write(Buffer.from('new'));
    forced.commit();
    expect(fs.readFileSync(path, 'utf8')).toBe('new');
  });
});

describe('file sources', () => {
  test('read any part of a file, and refuse to read past its end', () => {
    const path = join(emptyFolder(), 'image.bin');
    fs.writeFileSync(path, Buffer.from([0, 1, 2, 3, 4, 5]));
    const source = fileSource(path);
    expect(source.size).toBe(6);
    expect([...source.read(2, 3)]).toEqual([2, 3, 4]);
    expect([...source.read(6, 0)]).toEqual([]);
    expect(() => source.read(4, 3)).toThrow(RangeError);
    source.close();
  });

  test('read a stretch of a file in pieces of at most 1 MiB, and refuse to read past its end', () => {
    const path = join(emptyFolder(), 'image.bin');
    const content = Buffer.alloc((2 << 20) + 7);
    for (let i = 0; i < content.length; i += 3) content[i] = i >>> 8;
    fs.writeFileSync(path, content);
    const source = fileSource(path);
    const stretch = (offset?: number, length?: number) => {
      const copies: Buffer[] = [];
      for (const piece of source.pieces(offset, length)) copies.push(Buffer.from(piece));
      expect(copies.every((copy) => copy.length <= 1 << 20)).toBe(true);
      return Buffer.concat(copies);
    };
    expect(stretch().equals(content)).toBe(true);
    expect(stretch(5, (1 << 20) + 1).equals(content.subarray(5, (1 << 20) + 6))).toBe(true);
    expect(stretch(content.length - 3).equals(content.subarray(-3))).toBe(true);
    expect(stretch(content.length)).toHaveLength(0);
    expect(() => stretch(content.length - 3, 4)).toThrow(RangeError);
    source.close();
  });

  test('read a file with the next piece on its way, to its end or not; a file cut meanwhile is told', async () => {
    const path = join(emptyFolder(), 'image.bin');
    const content = Buffer.alloc((4 << 20) + 7);
    for (let i = 0; i < content.length; i += 5) content[i] = i >>> 9;
    fs.writeFileSync(path, content);
    const source = fileSource(path);
    const copies: Buffer[] = [];
    for await (const piece of source.piecesAhead()) copies.push(Buffer.from(piece));
    expect(Buffer.concat(copies).equals(content)).toBe(true);
    for await (const piece of source.piecesAhead()) {
      expect(content.subarray(0, piece.length).equals(piece)).toBe(true);
      break;
    }
    fs.truncateSync(path, 3 << 20);
    const toItsEnd = async () => {
      for await (const piece of source.piecesAhead()) expect(piece.length).toBeGreaterThan(0);
    };
    const error = await failure(toItsEnd);
    expect(error.code).toBe('file-trouble');
    expect(error.message).toContain('became shorter');
    source.close();
  });

  test('SHA-256 over a file: short, and long enough for a thread of its own; a file cut meanwhile is told', async () => {
    const path = join(emptyFolder(), 'image.bin');
    const content = Buffer.alloc((16 << 20) + 7);
    for (let i = 0; i < content.length; i += 5) content[i] = i >>> 9;
    for (const length of [0, 1000, content.length]) {
      fs.writeFileSync(path, content.subarray(0, length));
      const source = fileSource(path);
      const expected = createHash('sha256').update(content.subarray(0, length)).digest('hex');
      expect(Buffer.from(await source.sha256()).toString('hex')).toBe(expected);
      if (length > 0) {
        fs.truncateSync(path, length - 1);
        const error = await failure(() => source.sha256());
        expect(error.code).toBe('file-trouble');
        expect(error.message).toContain('became shorter');
      }
      source.close();
    }
  });

  test('a file that is not there, a folder, and a file cut while it is read: each its own error', async () => {
    const folder = emptyFolder();
    expect((await failure(() => fileSource(join(folder, 'none')))).code).toBe('file-missing');
    expect((await failure(() => fileSource(folder))).code).toBe('wrong-value');
    const path = join(folder, 'image.bin');
    fs.writeFileSync(path, Buffer.alloc(100));
    const source = fileSource(path);
    fs.truncateSync(path, 50);
    const error = await failure(() => source.read(0, 100));
    expect(error.code).toBe('file-trouble');
    expect(error.message).toContain('became shorter');
    source.close();
  });
});
