/** Sealing by delta: what is refused before a file is read, and what the sealer itself finds (RFC 9124 section 4.3.9). */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { sourceOf } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type { DeliveredImage } from '../../src/release/delivered.ts';
import { makesImage, requireDeltas } from '../../src/release/delta.ts';
import { seal } from '../../src/release/index.ts';
import { openEnvelope } from '../../src/suit/index.ts';
import { readClass } from '../../src/workspace/index.ts';
import { edited } from '../delta/helpers.ts';
import { deltaOf } from '../unit/deltas.ts';
import { editClass, failure, firmware, prepared, request } from './setup.ts';

const OLD = new Uint8Array(firmware(5000, 3));
const NEW = edited(OLD, 3, 4);

test('what was written makes the image, or it is not given out', () => {
  const delta = deltaOf(OLD, NEW);
  const image = {
    digest: sha256(NEW),
    flat: { size: NEW.length },
    delta: { windowBytes: 4096, from: { source: sourceOf(OLD) } },
  } as unknown as DeliveredImage;
  expect(makesImage(sourceOf(delta), image)).toBe(true);
  for (let at = 5; at < delta.length; at += 7) {
    const changed = delta.map((byte, i) => (i === at ? byte ^ 1 : byte));
    expect(makesImage(sourceOf(changed), image), `byte ${at}`).toBe(false);
  }
});

describe('a class that takes deltas', () => {
  async function taking() {
    const at = await prepared();
    editClass(at.workspace, 'vent', '# delta_window: 8KiB', 'delta_window: 8KiB');
    const running = join(at.folder, 'running.bin');
    writeFileSync(running, firmware(5000, 3));
    const next = firmware(5000, 3);
    next.fill(0x77, 2000, 2040);
    writeFileSync(at.image, next);
    return { at, running };
  }

  test('the record names the release that the delta is from; one that is not on record is warned of', async () => {
    const { at, running } = await taking();
    const { json, cautions } = await seal(request(at, { deltaFrom: [running] }));
    const [image] = json.images as { delta: { precursor: object; saved_bytes: number } }[];
    expect(image!.delta.precursor).toMatchObject({
      file: 'running.bin',
      sequence_number: null,
      version: null,
    });
    expect(cautions).toContainEqual(expect.stringContaining('no image of a release of this class on record'));
    const { integrated } = openEnvelope(sourceOf(readFileSync(join(at.folder, 'vent.suit'))));
    expect([...integrated.keys()]).toEqual(['#delta']);
    expect(image!.delta.saved_bytes).toBe(5000 - integrated.get('#delta')!.length);
  });

  test('the file that units run is never written over', async () => {
    const { at, running } = await taking();
    const asked = request(at, { deltaFrom: [running], out: running, force: true });
    expect(await failure(() => seal(asked))).toMatchObject({ code: 'output-is-input' });
  });

  test('no delta beside further components or dependencies', async () => {
    const { at } = await taking();
    const deviceClass = await readClass(at.workspace, 'vent');
    for (const parts of [
      { dependencies: ['radio.suit'] },
      { components: [{ path: 'radio.bin' }] as never },
    ]) {
      expect(() => requireDeltas({ deltaFrom: ['running.bin'], ...parts }, deviceClass)).toThrow(
        'brings more than that',
      );
    }
    expect(() => requireDeltas({ deltaFrom: ['running.bin'] }, deviceClass)).not.toThrow();
  });
});
