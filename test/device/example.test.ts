/**
 * The example bootloader and application on an emulated board, with a class, a header, a unit and releases that the real command
 * made: an envelope comes over the UART, is installed, started on trial and kept, or falls back. The power goes at flash writes,
 * and the emulator is killed there.
 */
import { rmSync } from 'node:fs';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { sourceOf } from '../../src/bytes/index.ts';
import { type Board, type CutKind, readFlash, scheduleCut, writeMemory } from './board.ts';
import { DEEP } from './both.ts';
import { Example, OK, updatesTo } from './example.ts';
import { toolchainPresent } from './toolchain.ts';

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
let example: Example;
let kept: Uint8Array;
let release: Uint8Array;
const at = (name: string) => example.at(name);

beforeAll(() => {
  if (!toolchainPresent) return;
  example = new Example();
  ({ kept, release } = example);
});

/** A board with that flash, or with what an earlier one left. */
function boardOver(name: string, content?: Uint8Array): Board {
  if (content) writeMemory(at(name), content, example.marksKey, example.deviceId);
  return example.boardOver(at(name));
}

afterEach(() => example?.endBoards());
afterAll(() => example?.remove());

describe.skipIf(!toolchainPresent)('the example on an emulated board', () => {
  it('installs an envelope that comes over the UART, starts it on trial, keeps it', async () => {
    const board = boardOver('kept', kept);
    expect(await board.lines(2)).toEqual([expect.stringMatching(/^boot: slot [01] kept$/), 'app: 1.0.0']);
    await updatesTo(board, release);
    board.say('r');
    expect(await board.lines(2)).toEqual([expect.stringMatching(/kept$/), 'app: 1.1.0']);
  });

  it('leaves flash as src/unit would have left it', async () => {
    const board = boardOver('same', kept);
    await board.lines(2);
    board.offer(release);
    await board.line();
    const content = kept.slice();
    const life = example.lifeOver(content);
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
