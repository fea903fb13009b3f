import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { sourceOf } from '../../src/bytes/index.ts';
import { openEnvelope } from '../../src/suit/index.ts';
import { type AuthenticationPolicy, judgeInstall, judgeStored, type UnitView } from '../../src/unit/index.ts';
import { Trace } from '../../src/unit/trace.ts';
import { decide } from '../../src/unit/verdict.ts';
import { fingerprint } from '../../src/x509/index.ts';
import { CLASS_KEY, check, macedWith, makerChain, type Sealing, scopeOf, signedBy, VENDOR } from './maker.ts';
import { all, any, asking, atLeast, by, chain, forged, type Hand, hand, together } from './policy-maker.ts';
import { IMAGE, sealedRaw } from './raw-release.ts';

const author = await hand('author');
const approver = await hand('approver');
const approver2 = await hand('approver');
const plain = await hand(undefined);
const later = await hand('author', { type: 'ed25519' });
const TWO = all({ role: 'author' }, { role: 'approver' });

const says = async (unit: UnitView, ...seals: Sealing[]) => check(unit, await sealedRaw(together(...seals)));
const codeOf = async (unit: UnitView, ...seals: Sealing[]) =>
  (await says(unit, ...seals)).refusal?.code ?? 'accepted';

describe('[M] 8.3: author and approver, both asked for', () => {
  const unit = asking(TWO);

  it('both signatures are taken, in either order, and the facts name both', async () => {
    const verdict = await says(unit, by(author), by(approver));
    expect(verdict.verdict).toBe('accepted');
    expect(verdict.facts.authentications!.map(({ signer }) => signer!.certificate.role)).toEqual([
      'author',
      'approver',
    ]);
    expect((await says(unit, by(approver), by(author))).verdict).toBe('accepted');
  });

  it('one stripped: refused at step authentication, and the trace says which role is open', async () => {
    for (const [seal, open] of [
      [by(author), 'approver'],
      [by(approver), 'author'],
    ] as const) {
      const { refusal, steps } = await says(unit, seal);
      expect([refusal?.step, refusal?.code]).toEqual(['authentication', 'authentications-too-few']);
      const found = steps[2]!.comparisons.at(-1)!.found;
      expect((found as () => string)()).toContain(`open: ${open}`);
    }
  });

  it('one signer twice counts once', async () => {
    expect(await codeOf(unit, by(author), by(author))).toBe('authentications-too-few');
  });

  it('one key with a certificate for each role counts once', async () => {
    const both = await hand('approver', { key: author.key });
    expect(await codeOf(unit, by(author), by(both))).toBe('authentications-too-few');
    expect(await codeOf(unit, by(author), by(both), by(approver))).toBe('accepted');
    expect(await codeOf(unit, by(both), by(await hand('author')))).toBe('accepted');
  });

  it('two approvers and no author: role-missing', async () => {
    expect(await codeOf(unit, by(approver), by(approver2))).toBe('role-missing');
  });

  it('a signer without a role is no approver', async () => {
    expect(await codeOf(unit, by(author), by(plain))).toBe('role-missing');
  });

  it('a forged second signature is refused as what it is, and takes nothing from good ones', async () => {
    expect(await codeOf(unit, by(author), forged(approver))).toBe('signature-wrong');
    expect(await codeOf(unit, forged(approver), by(author), by(approver))).toBe('accepted');
  });

  it('RFC 9124 4.3.18: a revoked approver is refused by name of the reason', async () => {
    const deniedSigners = [fingerprint(approver.certificate.spki)];
    const strict = asking(TWO, { state: { deniedSigners } });
    expect(await codeOf(strict, by(author), by(approver))).toBe('signer-denied');
    expect(await codeOf(strict, by(approver), by(author))).toBe('signer-denied');
    expect(await codeOf(strict, by(approver), by(author), by(approver2))).toBe('accepted');
  });

  it('a stranger beside the author is not what is missing', async () => {
    const stranger = await hand(undefined, { under: await makerChain() });
    expect(await codeOf(unit, by(author), by(stranger))).toBe('authentications-too-few');
    expect(await codeOf(unit, by(stranger))).toBe('signer-not-anchored');
  });

  it('the signers must state one security version', async () => {
    const at = (version: number) => ({ securityVersion: version });
    expect(await codeOf(unit, by(author, at(2)), by(approver, at(2)))).toBe('accepted');
    expect(await codeOf(unit, by(author, at(2)), by(approver))).toBe('security-versions-differ');
    expect(await codeOf(unit, by(author), by(approver, at(2)))).toBe('security-versions-differ');
  });

  it('nothing of the scheme, and nothing of an algorithm that is asked for', async () => {
    expect(await codeOf(unit)).toBe('authentication-missing');
    expect(await codeOf(unit, macedWith(CLASS_KEY))).toBe('scheme-wrong');
    expect(await codeOf(unit, by(later))).toBe('algorithm-not-allowed');
  });

  it('eight signatures are looked at, and more are refused before any is', async () => {
    const crowd = new Array(7).fill(by(author));
    expect(await codeOf(unit, ...crowd, by(approver))).toBe('accepted');
    expect(await codeOf(unit, ...crowd, by(author), by(approver))).toBe('signatures-too-many');
    const others = new Array(9).fill(by(later));
    expect(await codeOf(unit, ...others, by(author), by(approver))).toBe('accepted');
  });

  it('the trace has each block: who, in which role, by which algorithm, and why one does not count', async () => {
    const { steps } = await says(unit, by(author), forged(approver2), by(approver));
    const lines = (step: number) => steps[step]!.comparisons.map(({ what, ok }) => [what, ok]);
    expect(lines(1)).toContainEqual(['block 3: counts as', null]);
    expect(lines(2)).toContainEqual(['block 1: signature over the sealed digest', true]);
    expect(lines(2)).toContainEqual([
      'block 2: signature over the sealed digest (does not count: signature-wrong)',
      null,
    ]);
    for (const { comparisons } of steps) expect(comparisons.some(({ ok }) => ok === false)).toBe(false);
  });
});

describe('a transition between algorithms ([M] 8.3)', () => {
  const transition = (rule: 'any' | 'all') =>
    asking({ rule, roles: [{ algorithm: 'ESP256' }, { algorithm: 'Ed25519' }] });

  it('any: units of either kind take it, and a unit that asks for both takes neither alone', async () => {
    expect(await codeOf(transition('any'), by(author))).toBe('accepted');
    expect(await codeOf(transition('any'), by(later))).toBe('accepted');
    expect(await codeOf(transition('all'), by(author))).toBe('authentications-too-few');
    expect(await codeOf(transition('all'), by(later))).toBe('authentications-too-few');
    expect(await codeOf(transition('all'), by(later), by(author))).toBe('accepted');
  });

  it('two signatures of one algorithm do not make up for the other', async () => {
    expect(await codeOf(transition('all'), by(author), by(approver))).toBe('role-missing');
  });

  it('a unit without a policy takes the one of its own profile as before', async () => {
    expect(await codeOf(asking(undefined), by(later), by(author))).toBe('accepted');
    expect(await codeOf(asking(undefined), by(author))).toBe('accepted');
    expect(await codeOf(asking(undefined), signedBy(chain))).toBe('accepted');
  });
});

describe('what a demand may ask for', () => {
  it('a root: the approver under the spare root only', async () => {
    const spare = await makerChain();
    const { anchors } = asking(undefined).record;
    const second = { ...anchors[0]!, label: 'spare', spki: Buffer.from(spare.root.spki).toString('hex') };
    const unit = asking(
      all({ role: 'author', anchors: ['root'] }, { role: 'approver', anchors: ['spare'] }),
      {
        record: { anchors: [...anchors, second] },
      },
    );
    const under = await hand('approver', { under: spare });
    expect(await codeOf(unit, by(author), by(under))).toBe('accepted');
    expect(await codeOf(unit, by(author), by(approver))).toBe('role-missing');
  });

  it('a scope: a vendor-wide signer is no approver of this class', async () => {
    const wide = await hand('approver', { scopes: [scopeOf(VENDOR)] });
    const narrow = asking(all({ role: 'author' }, { role: 'approver', scope: 'class' }));
    expect(await codeOf(narrow, by(author), by(wide))).toBe('role-missing');
    expect(await codeOf(narrow, by(author), by(approver))).toBe('accepted');
    const broad = asking(all({ role: 'author' }, { role: 'approver', scope: 'vendor' }));
    expect(await codeOf(broad, by(author), by(wide))).toBe('accepted');
    expect(await codeOf(broad, by(author), by(approver))).toBe('role-missing');
  });

  it('a signer with a role meets a demand without one; keys are shared out in the best way', async () => {
    const unit = asking(all({}, { role: 'author' }));
    expect(await codeOf(unit, by(author), by(approver))).toBe('accepted');
    expect(await codeOf(unit, by(approver), by(plain))).toBe('role-missing');
  });
});

describe('k of n, as properties', () => {
  const hands: readonly Hand[] = [author, approver, approver2, plain, later];
  const policies: readonly AuthenticationPolicy[] = [
    TWO,
    any({ role: 'approver' }, { algorithm: 'Ed25519' }),
    atLeast(2, { role: 'author' }, { role: 'approver' }, { algorithm: 'Ed25519', role: 'author' }),
    atLeast(3, {}, {}, { role: 'approver' }, { algorithm: 'Ed25519' }),
    all({}, {}),
  ];
  const algorithmOf = ({ type }: Hand) => (type === 'p256' ? 'ESP256' : 'Ed25519');

  /** The policy by its definition: some choice of as many demands, and a different hand for each. */
  function holds({ rule, count, roles }: AuthenticationPolicy, signing: readonly Hand[]): boolean {
    const needed = rule === 'any' ? 1 : rule === 'all' ? roles.length : count!;
    const best = (from: number, left: readonly Hand[]): number => {
      if (from === roles.length) return 0;
      const { role, algorithm = 'ESP256' } = roles[from]!;
      const fitting = left.filter(
        (each) => algorithmOf(each) === algorithm && (role === undefined || each.certificate.role === role),
      );
      return Math.max(
        best(from + 1, left),
        ...fitting.map(
          (each) =>
            1 +
            best(
              from + 1,
              left.filter((other) => other !== each),
            ),
        ),
      );
    };
    return best(0, signing) >= needed;
  }

  const blocks = fc.array(fc.record({ who: fc.nat(hands.length - 1), sound: fc.boolean() }), {
    maxLength: 6,
  });

  it('a payload is accepted exactly where different keys meet the policy; repetition and order change nothing', async () => {
    await fc.assert(
      fc.asyncProperty(fc.constantFrom(...policies), blocks, fc.nat(), async (policy, drawn, turn) => {
        const unit = asking(policy);
        const seals = drawn.map(({ who, sound }) => (sound ? by(hands[who]!) : forged(hands[who]!)));
        const signing = hands.filter((_, i) => drawn.some(({ who, sound }) => sound && who === i));
        const verdict = await codeOf(unit, ...seals);
        expect(verdict === 'accepted').toBe(holds(policy, signing));
        const turned = seals.map((_, i) => seals[(i + turn) % seals.length]!);
        expect(await codeOf(unit, ...turned.toReversed())).toBe(verdict);
        expect(await codeOf(unit, ...seals, ...seals.slice(0, 2))).toBe(verdict);
      }),
      { numRuns: 60 },
    );
  });
});

describe('start-up judges by the same policy', () => {
  const unit = asking(TWO);
  const stored = (envelope: Uint8Array, judge = unit) =>
    decide('unit', ['start'], (trace) => {
      trace.enter('start');
      const content = sourceOf(IMAGE);
      judgeStored(trace, { slot: 0, envelope: sourceOf(envelope), content }, judge, judge.state.floors);
    });

  async function kept(...seals: Sealing[]): Promise<Uint8Array> {
    const envelope = sourceOf(await sealedRaw(together(...seals)));
    const trace = new Trace([
      ...(['envelope', 'signer', 'authentication', 'manifest', 'freshness', 'identity', 'fit'] as const),
      'content',
    ]);
    const plan = judgeInstall(trace, { envelope }, unit);
    if ('trust' in plan) throw new Error('a trust update');
    return plan.storedEnvelope();
  }

  it('every block that counts is kept, once, and nothing else', async () => {
    const envelope = await kept(by(later), by(author), forged(approver2), by(approver), by(author));
    expect(openEnvelope(sourceOf(envelope)).blocks).toHaveLength(2);
    expect(stored(envelope).verdict).toBe('accepted');
  });

  it('a kept envelope that lost a block does not start', async () => {
    const one = await sealedRaw(by(author));
    expect(stored(one).refusal?.code).toBe('stored-authentication-wrong');
  });

  it('a revoked approver stops no start', async () => {
    const deniedSigners = [fingerprint(approver.certificate.spki)];
    const envelope = await kept(by(author), by(approver));
    expect(stored(envelope, asking(TWO, { state: { deniedSigners } })).verdict).toBe('accepted');
  });

  it('[M] 4.2: the size of the kept envelope counts every block', async () => {
    const two = await kept(by(author), by(approver));
    const room = { ...unit.record.memory.envelopes, size: 2 * (two.length - 1) };
    const memory = { ...unit.record.memory, envelopes: room };
    expect(await codeOf(asking(TWO, { record: { memory } }), by(author), by(approver))).toBe(
      'envelope-area-too-small',
    );
    expect(await codeOf(asking(undefined, { record: { memory } }), by(author), by(approver))).toBe(
      'accepted',
    );
  });
});
