/**
 * The example bootloader and application on an emulated board, with a class, a header, a unit and releases that the real command
 * made: an envelope comes over the UART, is installed, started on trial and kept, or falls back. The power goes at flash writes,
 * and the emulator is killed there.
 */
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { make } from '../../scripts/device/runner.ts';
import { fromHex, sourceOf } from '../../src/bytes/index.ts';
import { parseUuid } from '../../src/suit/index.ts';
import { memoryStore, openUnit, openUnitFile, type UnitFile } from '../../src/unit/index.ts';
import { Bench } from '../e2e/command.ts';
import { Board, type CutKind, readFlash, scheduleCut, writeMemory } from './board.ts';
import { DEEP } from './both.ts';
import { plainFlash } from './plain-flash.ts';
import { toolchainPresent } from './toolchain.ts';

const OK = 'a5c33c96';
/** Flash operations of an install before the cut. Every one of them is cut in power-cuts.test.ts, without an emulator to kill. */
const CUTS: readonly (readonly [CutKind, number])[] = DEEP
  ? Array.from({ length: 60 }, (_, i) => [(['before', 'middle', 'after'] as const)[i % 3]!, 11 * i])
  : [
      ['before', 0],
      ['middle', 40],
      ['after', 400],
    ];
/** A place within the digest over the manifest, which stands first in an envelope. */
const INSIDE_DIGEST = 40;
const MEMORY = `memory:
  shape: linked
  core: cortex-m
  slots:
    - { name: A, address: 0x21000000, size: 64KiB }
    - { name: B, address: 0x21010000, size: 64KiB }
  envelopes: { address: 0x21020000, size: 8KiB }
  state: { address: 0x21022000, size: 8KiB }
  flash: { erase_page: 2KiB, write_unit: 64, erased_value: 0xff, endurance: 10000 }
  ram: { address: 0x20000000, size: 4MiB }
  leave_out: []
`;

const folder = mkdtempSync(join(tmpdir(), 'fieldseal-example-'));
const at = (...names: string[]) => join(folder, ...names);
const boards: Board[] = [];
let unit: UnitFile;
let kept: Uint8Array;
let release: Uint8Array;

/** Both images of a version, and the envelope that brings them. */
function sealed(bench: Bench, version: string): Uint8Array {
  mkdirSync(at(version));
  const slots = ['SLOT_0=0x21000000,0x10000', 'SLOT_1=0x21010000,0x10000'];
  make('example', `CLASS=${at('class')}`, `OUT=${at(version)}`, `VERSION=${version}`, ...slots);
  const [a, b, out] = [at(version, 'app-0.bin'), at(version, 'app-1.bin'), at(`${version}.suit`)];
  bench.ok(`seal ${a} --slot-b ${b} --class vent --version ${version} --out ${out}`, { cwd: 'WS' });
  return new Uint8Array(readFileSync(out));
}

beforeAll(() => {
  if (!toolchainPresent) return;
  const bench = new Bench();
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', { cwd: 'WS' });
  const file = bench.path('WS', 'classes', 'vent.yaml');
  writeFileSync(file, readFileSync(file, 'utf8').replace(/^memory:\n(?: .*\n)+/m, MEMORY));
  bench.ok('root create', { cwd: 'WS' });
  bench.ok('signer create line-1', { cwd: 'WS' });
  mkdirSync(at('class'));
  bench.ok(`header vent --out ${at('class', 'unit-class.h')}`, { cwd: 'WS' });
  sealed(bench, '1.0.0');
  release = sealed(bench, '1.1.0');
  const first = at('1.0.0.suit');
  bench.ok(`provision vent --serial 0001 --first ${first} --out ${at('vent.unit')}`, { cwd: 'WS' });
  const bytes = new Uint8Array(readFileSync(at('vent.unit')));
  unit = openUnitFile(memoryStore(bytes.length, bytes));
  kept = keptContent();
});

/** The flash of the unit, once its first firmware is kept. */
function keptContent(): Uint8Array {
  const flash = unit.flash({ noise: () => 0.5 });
  const content = flash.read(0, flash.size);
  const life = lifeOver(content);
  life.start();
  expect(life.keep().verdict).toBe('accepted');
  return content;
}

/** The same unit in src/unit, over a flash that it changes. */
function lifeOver(content: Uint8Array) {
  const { record } = unit;
  const flash = plainFlash(content, record.memory.flash);
  return openUnit({ record, flash, macKeys: new Map(), marksKey: marksKey() });
}

const marksKey = () => fromHex('trial_hex' in unit.marksKey ? unit.marksKey.trial_hex : '');

/** A board with that flash, or with what an earlier one left. */
function boardOver(name: string, content?: Uint8Array): Board {
  if (content) writeMemory(at(name), content, marksKey(), parseUuid(unit.record.device_id));
  const board = new Board(at('1.0.0', 'bootloader.elf'), at(name));
  boards.push(board);
  return board;
}

afterEach(() => Promise.all(boards.splice(0).map((board) => board.kill())));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe.skipIf(!toolchainPresent)('the example on an emulated board', () => {
  it('installs an envelope that comes over the UART, starts it on trial, keeps it', async () => {
    const board = boardOver('kept', kept);
    expect(await board.lines(2)).toEqual([expect.stringMatching(/^boot: slot [01] kept$/), 'app: 1.0.0']);
    board.offer(release);
    expect(await board.line()).toBe(`install ${OK}`);
    board.say('r');
    expect(await board.lines(2)).toEqual([expect.stringMatching(/on trial$/), 'app: 1.1.0']);
    board.say('k');
    expect(await board.line()).toBe(`keep ${OK}`);
    board.say('r');
    expect(await board.lines(2)).toEqual([expect.stringMatching(/kept$/), 'app: 1.1.0']);
  });

  it('leaves flash as src/unit would have left it', async () => {
    const board = boardOver('same', kept);
    await board.lines(2);
    board.offer(release);
    await board.line();
    const content = kept.slice();
    const life = lifeOver(content);
    life.start();
    expect(life.install({ envelope: sourceOf(release) }).verdict).toBe('accepted');
    expect(Buffer.compare(readFlash(at('same'), content.length), content)).toBe(0);
  });

  it('falls back to the image before, where the new one was not kept', async () => {
    const board = boardOver('fallen', kept);
    const [before] = await board.lines(2);
    board.offer(release);
    await board.line();
    board.say('r');
    expect(await board.lines(2)).toEqual([expect.stringMatching(/on trial$/), 'app: 1.1.0']);
    board.say('r');
    expect(await board.lines(2)).toEqual([before, 'app: 1.0.0']);
  });

  it('refuses a release with one bit changed, and writes nothing', async () => {
    const board = boardOver('forged', kept);
    await board.lines(2);
    const forged = release.slice();
    forged[INSIDE_DIGEST]! ^= 1;
    board.offer(forged);
    expect(await board.line()).toBe('install 0000010b');
    expect(Buffer.compare(readFlash(at('forged'), kept.length), kept)).toBe(0);
  });
});

describe.skipIf(!toolchainPresent)('the power goes, and the emulator is killed there', () => {
  const cutAt = async (kind: CutKind, after: number): Promise<string> => {
    const name = `cut-${kind}-${after}`;
    let board = boardOver(name, kept);
    await board.lines(2);
    await board.kill();
    scheduleCut(at(name), kind, after);
    board = boardOver(name);
    await board.lines(2);
    board.offer(release);
    const said = await board.line();
    await board.kill();
    scheduleCut(at(name), 'never', 0);
    await requireGenuine(name);
    rmSync(at(name));
    return said;
  };

  /** Whatever was cut, a genuine image runs, and the release can be installed, started and kept. */
  const requireGenuine = async (name: string) => {
    const board = boardOver(name);
    const [boot, app] = await board.lines(2);
    expect([boot, app]).toEqual([
      expect.stringMatching(/^boot: slot/),
      expect.stringMatching(/^app: 1\.[01]\.0$/),
    ]);
    if (app === 'app: 1.0.0') {
      board.offer(release);
      expect(await board.line()).toBe(`install ${OK}`);
      board.say('r');
      expect(await board.lines(2)).toEqual([expect.stringMatching(/on trial$/), 'app: 1.1.0']);
    }
    board.say('k');
    expect(await board.line()).toBe(`keep ${OK}`);
    await board.kill();
  };

  it.each(CUTS)('%s flash operation %i of an install', async (kind, after) => {
    expect(await cutAt(kind, after)).toBe('power-cut');
  });
});
