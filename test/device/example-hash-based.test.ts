/**
 * The example for a class of the hash-based profile (draft-ietf-suit-mti 3.6), its header written by the real command: releases that
 * HSS/LMS signed are installed, started, kept, and refused where one bit differs.
 */
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { sourceOf } from '../../src/bytes/index.ts';
import { openEnvelope } from '../../src/suit/index.ts';
import { writeMemory } from './board.ts';
import { Example, updatesTo } from './example.ts';
import { toolchainPresent } from './toolchain.ts';

const SIGNATURE_WRONG = '00000307';

describe.skipIf(!toolchainPresent)('the example with HSS/LMS, on an emulated board', () => {
  let example: Example;
  beforeAll(() => {
    example = new Example({
      classOptions: '--profile suit-sha256-hsslms-a256kw-a256ctr',
      signerOptions: '--algorithm hss-lms --parameters N24/H5/W8',
    });
  });
  afterAll(async () => {
    await example?.endBoards();
    example?.remove();
  });

  it('refuses a release with one bit of its signature changed; installs, starts and keeps the genuine one', async () => {
    const { kept, release } = example;
    const memory = example.at('flash');
    writeMemory(memory, kept, example.marksKey, example.deviceId);
    const board = example.boardOver(memory);
    expect(await board.lines(2)).toEqual([expect.stringMatching(/^boot: slot [01] kept$/), 'app: 1.0.0']);
    const forged = release.slice();
    forged[openEnvelope(sourceOf(release)).blocks[0]!.span.end - 1]! ^= 1;
    board.offer(forged);
    expect(await board.line()).toBe(`install ${SIGNATURE_WRONG}`);
    await updatesTo(board, release);
  });
});
