/** A passphrase that the desk holds for a while: for working keys, never for a root or a person's key. */
import { describe, expect, it } from 'vitest';
import type { Session } from '../../src/server/access/sessions.ts';
import { Unlocked } from '../../src/server/held/unlocked.ts';

const session = { id: 'one' } as Session;
const asked = (purpose: 'root' | 'approver' | 'working') => ({ keyName: 'k', purpose, fresh: false });

describe('a held passphrase', () => {
  it('opens working keys alone; a root and a person are opened by what is typed for them', async () => {
    const unlocked = new Unlocked(() => 0);
    unlocked.hold(session, 'vents open at dawn', 1);
    const held = unlocked.secretsFor(session, {});
    expect(Buffer.from(await held.passphrase(asked('working'))).toString()).toBe('vents open at dawn');
    for (const purpose of ['root', 'approver'] as const)
      await expect(held.passphrase(asked(purpose))).rejects.toMatchObject({ code: 'passphrase-missing' });
    const typed = unlocked.secretsFor(session, { passphrase: 'four eyes see more' });
    expect(Buffer.from(await typed.passphrase(asked('approver'))).toString()).toBe('four eyes see more');
    unlocked.releaseAll();
    await expect(held.passphrase(asked('working'))).rejects.toMatchObject({ code: 'passphrase-missing' });
  });
});
