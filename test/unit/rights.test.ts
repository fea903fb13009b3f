import { describe, expect, it } from 'vitest';
import { MAIN_COMPONENT } from '../../src/suit/index.ts';
import {
  type GuardedCommand,
  readUnitRecord,
  type SignerRight,
  UnitRecordError,
} from '../../src/unit/index.ts';
import { fingerprint } from '../../src/x509/index.ts';
import { sequence } from '../suit/raw.ts';
import { check, type Sealing } from './maker.ts';
import { all, any, asking, by, hand, together } from './policy-maker.ts';
import { FETCH, type RawParts, sealedRaw } from './raw-release.ts';
import { exampleRecord } from './records.ts';

const author = await hand('author');
const approver = await hand('approver');
const BOTH = all({ role: 'author' }, { role: 'approver' });

async function codeOf(
  rights: readonly SignerRight[] | undefined,
  seal: Sealing = by(author),
  { parts = {}, policy }: { parts?: RawParts; policy?: Parameters<typeof asking>[0] } = {},
): Promise<string> {
  const unit = asking(policy, { ...(rights && { rights }) });
  return check(unit, await sealedRaw(seal, parts)).refusal?.code ?? 'accepted';
}

describe('[M] 9: access control list from signer to components', () => {
  it('without a list every signer has every right; with one, whoever is not in it has none', async () => {
    expect(await codeOf(undefined)).toBe('accepted');
    expect(await codeOf([{ role: 'author' }])).toBe('accepted');
    expect(await codeOf([{ role: 'approver' }])).toBe('component-not-permitted');
  });

  it('a right reaches the components that its prefix begins', async () => {
    expect(await codeOf([{ role: 'author', components: ['main'] }])).toBe('accepted');
    for (const prefix of ['radio', 'mai', 'main/boot', 'mainx']) {
      expect(await codeOf([{ role: 'author', components: [prefix] }])).toBe('component-not-permitted');
    }
    expect(await codeOf([{ role: 'author', components: ['radio', 'main'] }])).toBe('accepted');
  });

  it('a signer is known by role, key or root', async () => {
    const key = fingerprint(author.certificate.spki);
    expect(await codeOf([{ fingerprint: key }])).toBe('accepted');
    expect(await codeOf([{ fingerprint: fingerprint(approver.certificate.spki) }])).toBe(
      'component-not-permitted',
    );
    expect(await codeOf([{ anchor: 'root' }])).toBe('accepted');
    expect(await codeOf([{ anchor: 'root', role: 'approver' }])).toBe('component-not-permitted');
  });
});

describe('[M] 9: down to commands', () => {
  it('what the manifest does must be covered; conditions need no right', async () => {
    expect(await codeOf([{ role: 'author', commands: ['fetch', 'invoke'] }])).toBe('accepted');
    expect(await codeOf([{ role: 'author', commands: ['fetch'] }])).toBe('command-not-permitted');
    expect(await codeOf([{ role: 'author', commands: ['invoke'] }])).toBe('command-not-permitted');
  });

  it('a command in a branch that may never run counts all the same', async () => {
    const parts: RawParts = { install: [15, [sequence(...FETCH), sequence(22, 2)]] };
    const may = (...commands: GuardedCommand[]) => codeOf([{ commands }], by(author), { parts });
    expect(await may('fetch', 'invoke', 'copy')).toBe('accepted');
    expect(await may('fetch', 'invoke')).toBe('command-not-permitted');
  });
});

describe('several signers', () => {
  it('one who may suffices for a command, since each vouches for the whole manifest', async () => {
    const rights: SignerRight[] = [
      { role: 'author', commands: ['fetch'] },
      { role: 'approver', components: ['main'], commands: ['invoke'] },
    ];
    expect(await codeOf(rights, together(by(author), by(approver)), { policy: BOTH })).toBe('accepted');
    const either = any({ role: 'author' }, { role: 'approver' });
    expect(await codeOf(rights, by(author), { policy: either })).toBe('command-not-permitted');
  });

  it('rights of one whose signature does not count are no rights', async () => {
    const either = any({ role: 'author' });
    const rights: SignerRight[] = [{ role: 'approver' }];
    expect(await codeOf(rights, together(by(author), by(approver)), { policy: either })).toBe(
      'component-not-permitted',
    );
  });
});

describe('unit records', () => {
  const read = (changes: object) => () => readUnitRecord({ ...exampleRecord(), ...changes });

  it.each([
    ['no role at all', { authentication: { rule: 'all', roles: [] } }],
    ['a count with all', { authentication: { rule: 'all', count: 1, roles: [{}] } }],
    ['no count with at_least', { authentication: { rule: 'at_least', roles: [{}] } }],
    ['a count of none', { authentication: { rule: 'at_least', count: 0, roles: [{}] } }],
    ['a count above the roles', { authentication: { rule: 'at_least', count: 2, roles: [{}] } }],
    ['nine roles', { authentication: { rule: 'any', roles: new Array(9).fill({}) } }],
    ['an algorithm that signs nothing', { authentication: { rule: 'any', roles: [{ algorithm: 'HMAC' }] } }],
    ['a root that the unit lacks', { authentication: { rule: 'any', roles: [{ anchors: ['x'] }] } }],
    ['a role in capitals', { authentication: { rule: 'any', roles: [{ role: 'Author' }] } }],
    ['an empty list of rights', { rights: [] }],
    ['a right under a root that the unit lacks', { rights: [{ anchor: 'x' }] }],
    ['a command that nobody gives', { rights: [{ commands: ['erase'] }] }],
    ['an empty segment', { rights: [{ components: ['main//x'] }] }],
    ['roles under a shared key', { ...symmetric(), authentication: { rule: 'any', roles: [{}] } }],
    ['rights under a shared key', { ...symmetric(), rights: [{}] }],
  ])('%s is refused', (_, changes) => {
    expect(read(changes)).toThrow(UnitRecordError);
  });

  it('what is sound is read as it stands', () => {
    const changes = { authentication: BOTH, rights: [{ role: 'author', components: ['main'] }] };
    expect(read(changes)()).toMatchObject(changes);
    expect(MAIN_COMPONENT).toHaveLength(1);
  });
});

function symmetric(): object {
  return {
    scheme: 'symmetric',
    profile: 'suit-sha256-hmac-a128kw-a128ctr',
    anchors: [],
    mac_keys: [{ id: '01', label: 'class', secret: { trial_hex: '00'.repeat(32) } }],
  };
}
