/** The way back from a bad release: the earlier image under a higher number, as far as the security floor allows. */

import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { reissueOf } from '../../src/fleet/index.ts';
import { seal } from '../../src/release/index.ts';
import { secrets } from '../release/secrets.ts';
import { firmware, prepared, request } from '../release/setup.ts';

type Prepared = Awaited<ReturnType<typeof prepared>>;

const again = (at: Prepared, more: { release?: bigint; path?: string; securityVersion?: number } = {}) =>
  reissueOf({
    workspace: at.workspace,
    className: 'vent',
    release: more.release ?? 1n,
    images: [{ path: more.path ?? at.image }],
    securityVersion: more.securityVersion,
  });

/** Release 1 from the image; release 2 from another, at a security version. */
async function twoReleases(securityVersion: number): Promise<Prepared> {
  const at = await prepared();
  await seal(request(at, { description: 'spring' }));
  const bad = join(at.folder, 'bad.bin');
  writeFileSync(bad, firmware(7000, 2));
  await seal(
    request(at, {
      images: [{ path: bad }],
      version: '1.5.0',
      out: join(at.folder, 'bad.suit'),
      securityVersion,
    }),
  );
  return at;
}

describe('an earlier release, sealed again', () => {
  it('has its version and form, and a number above every one before', async () => {
    const at = await twoReleases(0);
    const reissued = await again(at);
    expect(reissued).toMatchObject({
      version: '1.4.0',
      securityVersion: 0,
      detached: false,
      description: 'spring',
    });
    const out = join(at.folder, 'again.suit');
    const { json } = await seal({ workspace: at.workspace, secrets, ...reissued, out });
    expect(json).toMatchObject({ version: '1.4.0', sequence_number: 3 });
  });

  it('is refused for any other file than the one it was sealed from', async () => {
    const at = await twoReleases(0);
    const error = again(at, { path: join(at.folder, 'bad.bin') });
    await expect(error).rejects.toMatchObject({
      code: 'waves-image-differs',
      message: expect.stringContaining('vent/1'),
    });
  });

  it('is refused where a later release raised the security floor, and says by which and what to do', async () => {
    const at = await twoReleases(2);
    await expect(again(at)).rejects.toMatchObject({
      code: 'waves-floor-forbids',
      status: 1,
      message: expect.stringMatching(
        /vent\/1 has security version 0, and release vent\/2 has 2.*flaw that must not come back/,
      ),
      hint: expect.stringContaining('--security-version 2'),
    });
    await expect(again(at, { securityVersion: 1 })).rejects.toMatchObject({ code: 'waves-floor-forbids' });
    expect(await again(at, { securityVersion: 2 })).toMatchObject({ securityVersion: 2 });
  });

  it('is refused where it is not on record', async () => {
    const at = await twoReleases(0);
    await expect(again(at, { release: 9n })).rejects.toMatchObject({ code: 'waves-nothing-before' });
  });
});
