/**
 * The example bootloader and application for a class, with a header, a unit and two releases that the real command made. Run on an
 * emulated board.
 */
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect } from 'vitest';
import { make } from '../../scripts/device/runner.ts';
import { fromHex } from '../../src/bytes/index.ts';
import { parseUuid } from '../../src/suit/index.ts';
import { memoryStore, openUnit, openUnitFile, type Unit, type UnitFile } from '../../src/unit/index.ts';
import { Bench } from '../e2e/command.ts';
import { Board } from './board.ts';
import { plainFlash } from './plain-flash.ts';

/** How the board says FS_OK. */
export const OK = 'a5c33c96';

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

/** What the class and its signer are made with, beside their names. */
export interface ExampleKind {
  readonly classOptions?: string;
  readonly signerOptions?: string;
}

export class Example {
  /** The flash of a unit on which 1.0.0 is kept. */
  readonly kept: Uint8Array;
  /** The envelope of 1.1.0. */
  readonly release: Uint8Array;
  readonly #folder = mkdtempSync(join(tmpdir(), 'fieldseal-example-'));
  readonly #boards: Board[] = [];
  readonly #unit: UnitFile;

  constructor({ classOptions = '', signerOptions = '' }: ExampleKind = {}) {
    const bench = new Bench();
    bench.ok('init WS --vendor-domain hollinridge.example');
    bench.ok(`class add vent --model VC-2 --scheme asymmetric ${classOptions}`.trim(), { cwd: 'WS' });
    const file = bench.path('WS', 'classes', 'vent.yaml');
    writeFileSync(file, readFileSync(file, 'utf8').replace(/^memory:\n(?: .*\n)+/m, MEMORY));
    bench.ok('root create', { cwd: 'WS' });
    bench.ok(`signer create line-1 ${signerOptions}`.trim(), { cwd: 'WS' });
    mkdirSync(this.at('class'));
    bench.ok(`header vent --out ${this.at('class', 'unit-class.h')}`, { cwd: 'WS' });
    this.#seal(bench, '1.0.0');
    this.release = this.#seal(bench, '1.1.0');
    const first = this.at('1.0.0.suit');
    bench.ok(`provision vent --serial 0001 --first ${first} --out ${this.at('vent.unit')}`, { cwd: 'WS' });
    const bytes = new Uint8Array(readFileSync(this.at('vent.unit')));
    this.#unit = openUnitFile(memoryStore(bytes.length, bytes));
    this.kept = this.#keptContent();
  }

  /** A file of it. */
  at(...names: string[]): string {
    return join(this.#folder, ...names);
  }

  /** Both images of a version, and the envelope that brings them. */
  #seal(bench: Bench, version: string): Uint8Array {
    mkdirSync(this.at(version));
    const slots = ['SLOT_0=0x21000000,0x10000', 'SLOT_1=0x21010000,0x10000'];
    make('example', `CLASS=${this.at('class')}`, `OUT=${this.at(version)}`, `VERSION=${version}`, ...slots);
    const [a, b] = [this.at(version, 'app-0.bin'), this.at(version, 'app-1.bin')];
    const out = this.at(`${version}.suit`);
    bench.ok(`seal ${a} --slot-b ${b} --class vent --version ${version} --out ${out}`, { cwd: 'WS' });
    return new Uint8Array(readFileSync(out));
  }

  #keptContent(): Uint8Array {
    const flash = this.#unit.flash({ noise: () => 0.5 });
    const content = flash.read(0, flash.size);
    const life = this.lifeOver(content);
    life.start();
    const { verdict } = life.keep();
    if (verdict !== 'accepted') throw new Error(`the first firmware is not kept: ${verdict}`);
    return content;
  }

  /** The same unit in src/unit, over a flash that it changes. */
  lifeOver(content: Uint8Array): Unit {
    const { record } = this.#unit;
    const flash = plainFlash(content, record.memory.flash);
    return openUnit({ record, flash, macKeys: new Map(), marksKey: this.marksKey });
  }

  get marksKey(): Uint8Array {
    const { marksKey } = this.#unit;
    return fromHex('trial_hex' in marksKey ? marksKey.trial_hex : '');
  }

  get deviceId(): Uint8Array {
    return parseUuid(this.#unit.record.device_id);
  }

  /** A board over the memory in a file. */
  boardOver(memory: string): Board {
    const board = new Board(this.at('1.0.0', 'bootloader.elf'), memory);
    this.#boards.push(board);
    return board;
  }

  async endBoards(): Promise<void> {
    await Promise.all(this.#boards.splice(0).map((board) => board.kill()));
  }

  remove(): void {
    rmSync(this.#folder, { recursive: true, force: true });
  }
}

/** A release over the UART: installed, started on trial, kept. */
export async function updatesTo(board: Board, release: Uint8Array): Promise<void> {
  board.offer(release);
  expect(await board.line()).toBe(`install ${OK}`);
  board.say('r');
  expect(await board.lines(2)).toEqual([expect.stringMatching(/on trial$/), 'app: 1.1.0']);
  board.say('k');
  expect(await board.line()).toBe(`keep ${OK}`);
}
