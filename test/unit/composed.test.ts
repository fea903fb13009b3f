import { describe, expect, it } from 'vitest';
import { fromUtf8, sourceOf } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { command, override, setIndex } from '../../src/suit/description.ts';
import { openEnvelope, SUIT_LIMITS } from '../../src/suit/index.ts';
import { toJson } from '../../src/unit/index.ts';
import { fingerprint } from '../../src/x509/index.ts';
import { TD_DEPENDENCY, TD_PROCESS } from '../suit/extension-examples.ts';
import { WAITS_OVER } from './cases/dependencies.ts';
import {
  checkWhole,
  composedMap,
  composedUnit,
  MARL,
  marlChain,
  RADIO,
  radioRelease,
  wholeRelease,
} from './composed.ts';
import { imageOf, makerChain, release, scopeOf, signedBy, VENDOR, VENT } from './maker.ts';

const own = await makerChain();
const marl = await marlChain();
const bySelf = signedBy(own);
const byMarl = signedBy(marl);
const radio = await radioRelease({ seal: byMarl });
const unit = composedUnit(own, marl);
const PASSED = new Array(9).fill('passed');

describe('[TD] a unit takes a release whose radio image comes from another author', () => {
  it('integrated: every step passes, and both images are known', async () => {
    const verdict = checkWhole(unit, await wholeRelease({ seal: bySelf, radio }));
    expect(verdict.refusal).toBeNull();
    expect(verdict.steps.map(({ outcome }) => outcome)).toEqual(PASSED);
    expect(verdict.facts.images).toMatchObject([{ size: 5000 }, { size: 3000, component: 'radio' }]);
    const json = toJson(verdict) as { facts: { dependencies: unknown[] } };
    expect(json.facts.dependencies).toMatchObject([
      { component: 'radio.suit', sequence_number: 4, signer: { anchor: 'marl' } },
    ]);
  });

  it('detached: the envelope beside it is known by its digest, the image by its name', async () => {
    const apart = await radioRelease({ seal: byMarl, uri: 'https://marl.example/radio.bin' });
    const radioUri = 'https://marl.example/radio.suit';
    const whole = await wholeRelease({ seal: bySelf, radio: apart, radioUri });
    expect(checkWhole(unit, whole).refusal?.code).toBe('dependency-missing');
    const dependencies = [sourceOf(radio.envelope), sourceOf(apart.envelope)];
    expect(checkWhole(unit, whole, { dependencies })).toMatchObject({ verdict: 'incomplete', refusal: null });
    const components = new Map([['radio', sourceOf(apart.image)]]);
    expect(checkWhole(unit, whole, { dependencies, components }).verdict).toBe('accepted');
    const wrong = new Map([['radio', sourceOf(imageOf(3000, 12))]]);
    expect(checkWhole(unit, whole, { dependencies, components: wrong }).refusal?.code).toBe(
      'image-digest-wrong',
    );
  });

  it('a unit that starts the radio itself wants it invoked, before its own image', async () => {
    const started = composedUnit(own, marl, { memory: composedMap(true) });
    const invoked = await radioRelease({ seal: byMarl, start: true });
    expect(checkWhole(started, await wholeRelease({ seal: bySelf, radio: invoked })).verdict).toBe(
      'accepted',
    );
    const silent = checkWhole(started, await wholeRelease({ seal: bySelf, radio }));
    expect(silent.refusal?.code).toBe('start-not-described');
    const unasked = checkWhole(unit, await wholeRelease({ seal: bySelf, radio: invoked }));
    expect(unasked.refusal?.code).toBe('start-not-described');
  });

  it('a unit without further components refuses dependencies by name ([TD] 5.1)', async () => {
    const { memory } = composedUnit(own, marl).record;
    const { components: _, ...alone } = memory;
    const plain = composedUnit(own, marl, {
      memory: alone,
      record: { anchors: unit.record.anchors.slice(0, 1) },
    });
    const verdict = checkWhole(plain, await wholeRelease({ seal: bySelf, radio }));
    expect(verdict.refusal).toMatchObject({ code: 'manifest-element-unsupported', step: 'manifest' });
  });
});

describe('a dependency is judged by the rules for signers (step 4)', () => {
  const codeOf = async (...[options]: [Partial<Parameters<typeof wholeRelease>[0]>]) =>
    checkWhole(unit, await wholeRelease({ seal: bySelf, radio, ...options })).refusal?.code;

  it('one bit of its signature', async () => {
    const forged = radio.envelope.slice();
    forged[200]! ^= 1;
    expect(await codeOf({ radioEnvelope: forged })).toBe('dependency-not-authentic');
  });

  it('another manifest of its author than the one whose digest was sealed', async () => {
    const other = await radioRelease({ seal: byMarl, sequenceNumber: 5 });
    expect(await codeOf({ radioEnvelope: other.envelope })).toBe('dependency-wrong');
  });

  it('no envelope at all, and one that is not there', async () => {
    expect(await codeOf({ radioEnvelope: imageOf(300) })).toBe('dependency-wrong');
    expect(await codeOf({ radioEnvelope: undefined })).toBe('dependency-missing');
  });

  it('no authentication: the digest alone vouches for nobody ([M] 8.3, [TD] 5.6.4)', async () => {
    const unsealed = await radioRelease({ seal: async () => [] });
    expect(await codeOf({ radio: unsealed })).toBe('dependency-not-authentic');
  });

  it.each([
    ['under a root that the unit does not have', async () => signedBy(await marlChain())],
    [
      'a scope that does not cover the radio',
      async () => signedBy(await marlChain({ scopes: [scopeOf(VENT)] })),
    ],
  ])('%s', async (_what, sealing) => {
    const strange = await radioRelease({ seal: await sealing() });
    expect(await codeOf({ radio: strange })).toBe('dependency-not-authentic');
  });

  it('a generation below that of the author; the floor of the maker does not count for it', async () => {
    const later = composedUnit(own, marl, { generation: 2 });
    const whole = await wholeRelease({ seal: bySelf, radio });
    expect(checkWhole(later, whole).refusal?.code).toBe('dependency-not-authentic');
    const floors = { sequenceNumber: 0n, securityVersion: 0, signerGeneration: 3 };
    const seven = await makerChain('p256', { generation: 7 });
    const raised = composedUnit(seven, marl, { state: { floors } });
    expect(checkWhole(raised, await wholeRelease({ seal: signedBy(seven), radio })).verdict).toBe('accepted');
  });

  it('a denied signer', async () => {
    const denied = composedUnit(own, marl, { state: { deniedSigners: [fingerprint(marl.signer.spki)] } });
    const verdict = checkWhole(denied, await wholeRelease({ seal: bySelf, radio }));
    expect(verdict.refusal?.code).toBe('dependency-not-authentic');
    const lines = verdict.steps[3]!.comparisons.filter(({ ok }) => ok === false);
    expect(lines.map(({ found }) => found)).toContain('signer-denied');
  });

  it('its manifest is read to the last command', async () => {
    const swaps = await radioRelease({
      seal: byMarl,
      change: (same) => ({ ...same, referenceUri: 'x', coswid: new Uint8Array(SUIT_LIMITS.manifestSize) }),
    });
    expect(await codeOf({ radio: swaps })).toBe('dependency-wrong');
  });
});

describe('the published example of [TD] Appendix B, Example 0', () => {
  it('as what a unit is offered: nobody certified its signer', () => {
    expect(checkWhole(unit, { envelope: TD_PROCESS }).refusal?.code).toBe('signer-missing');
  });

  it('as a dependency, named by its digest: the same', async () => {
    const { digest } = openEnvelope(sourceOf(TD_DEPENDENCY));
    const published = { ...radio, envelope: TD_DEPENDENCY, digest: digest.bytes };
    const verdict = checkWhole(unit, await wholeRelease({ seal: bySelf, radio: published }));
    expect(verdict.refusal?.code).toBe('dependency-not-authentic');
    expect(verdict.steps[3]!.comparisons.at(-1)!.found).toContain('signer-missing');
  });

  it('sealed by the author for its radio: write with a content, and only a validate sequence to check it', async () => {
    const content = fromUtf8('hello world');
    const image = { 3: { algorithm: -16, bytes: sha256(content) }, 14: content.length };
    const written = await radioRelease({
      seal: byMarl,
      change: (same) => ({
        ...same,
        shared: [override({ 1: MARL, 2: RADIO, ...image }), command(1, 15), command(2, 15)],
        sequences: new Map([
          ['validate', [command(3, 15)]],
          ['install', [override({ 18: content }), command(18, 15)]],
        ]),
      }),
    });
    expect(checkWhole(unit, await wholeRelease({ seal: bySelf, radio: written })).verdict).toBe('accepted');
  });
});

describe('the author of a dependency has its own components and no other', () => {
  it('it may not bring the image of the unit itself', async () => {
    const greedy = await radioRelease({ seal: byMarl, component: 'main' });
    const verdict = checkWhole(unit, await wholeRelease({ seal: bySelf, radio: greedy }));
    expect(verdict.refusal).toMatchObject({ code: 'component-not-permitted', step: 'manifest' });
  });

  it('nobody else may bring its image, not even the maker of the unit', async () => {
    const usurped = await radioRelease({ seal: bySelf });
    const verdict = checkWhole(unit, await wholeRelease({ seal: bySelf, radio: usurped }));
    expect(verdict.refusal).toMatchObject({ code: 'component-not-permitted', step: 'manifest' });
  });

  it('its root vouches for dependencies only, never for what a unit is offered', async () => {
    const verdict = checkWhole(unit, await wholeRelease({ seal: byMarl, radio }));
    expect(verdict.refusal?.code).toBe('signer-not-anchored');
  });

  it('a row of the access control list that names its root lets the maker in, a role alone does not', async () => {
    const usurped = await radioRelease({ seal: bySelf, vendor: VENDOR, deviceClass: VENT });
    const whole = await wholeRelease({ seal: bySelf, radio: usurped });
    const all = { components: ['main', 'radio', 'radio.suit'] };
    const byRole = composedUnit(own, marl, { record: { rights: [all] } });
    expect(checkWhole(byRole, whole).refusal?.code).toBe('component-not-permitted');
    const byRoot = composedUnit(own, marl, { record: { rights: [{ ...all, anchor: 'root' }] } });
    expect(checkWhole(byRoot, whole).verdict).toBe('accepted');
  });

  it('an access control list narrows the author too', async () => {
    const rights = [{ anchor: 'root' }, { anchor: 'marl', commands: ['fetch'] as const }];
    const may = composedUnit(own, marl, { record: { rights } });
    expect(checkWhole(may, await wholeRelease({ seal: bySelf, radio })).verdict).toBe('accepted');
    const mayNot = composedUnit(own, marl, { record: { rights: rights.slice(0, 1) } });
    expect(checkWhole(mayNot, await wholeRelease({ seal: bySelf, radio })).refusal?.code).toBe(
      'component-not-permitted',
    );
  });
});

describe('[UM] 5.6: a wait holds an install up for as long as the unit can tell that it is not over', () => {
  it.each(WAITS_OVER)('%s', async (_what, verdict) => {
    expect((await verdict()).verdict).toBe('accepted');
  });
});

describe('freshness, identity and fit count with dependencies', () => {
  it('the identifiers of its author, or those of the unit; no others', async () => {
    const other = await radioRelease({ seal: byMarl, deviceClass: imageOf(16) });
    const verdict = checkWhole(unit, await wholeRelease({ seal: bySelf, radio: other }));
    expect(verdict.refusal).toMatchObject({ code: 'class-wrong', step: 'identity' });
  });

  it('a component too many, and one that the unit does not have', async () => {
    const named = await radioRelease({ seal: byMarl, component: 'radio/extra' });
    const verdict = checkWhole(unit, await wholeRelease({ seal: bySelf, radio: named }));
    expect(verdict.refusal).toMatchObject({ code: 'component-unknown', step: 'fit' });
  });

  it('an image larger than its area', async () => {
    const large = await radioRelease({ seal: byMarl, image: imageOf(64 * 1024 + 1) });
    const verdict = checkWhole(unit, await wholeRelease({ seal: bySelf, radio: large }));
    expect(verdict.refusal).toMatchObject({ code: 'image-too-large', step: 'fit' });
  });

  it('a release without its radio is no release for this unit', async () => {
    const alone = await release({ seal: bySelf });
    const verdict = checkWhole(unit, alone);
    expect(verdict.refusal).toMatchObject({ code: 'component-count-wrong', step: 'fit' });
  });

  it('an image of the radio that is not the one its author sealed', async () => {
    const forged = await radioRelease({ seal: byMarl, payload: imageOf(3000, 12) });
    const verdict = checkWhole(unit, await wholeRelease({ seal: bySelf, radio: forged }));
    expect(verdict.refusal).toMatchObject({ code: 'image-digest-wrong', step: 'image' });
  });

  it('[TD] 5.1: a dependency that is not processed in each section', async () => {
    const left = await wholeRelease({ seal: bySelf, radio, facts: { sections: ['install'] } });
    expect(checkWhole(unit, left).verdict).toBe('accepted');
    const none = await wholeRelease({ seal: bySelf, radio, facts: { sections: [] } });
    expect(checkWhole(unit, none).refusal?.code).toBe('install-failed');
  });

  it('[TD] 5.5: one that dependency-resolution does not bring', async () => {
    const skip = await wholeRelease({
      seal: bySelf,
      radio,
      change: (same) => ({
        ...same,
        sequences: new Map([...same.sequences].filter(([name]) => name !== 'dependency-resolution')),
      }),
    });
    expect(checkWhole(unit, skip).refusal?.code).toBe('dependencies-not-followed');
  });

  it('the maker may not replace the digest that the author compares (RFC 9124 MFST.OVERRIDE)', async () => {
    const overridden = await wholeRelease({
      seal: bySelf,
      radio,
      change: (same) => ({
        ...same,
        sequences: new Map(
          [...same.sequences].map(([name, sequence]) => [
            name,
            name === 'validate'
              ? [
                  ...sequence,
                  setIndex(0),
                  override({ 3: { algorithm: -16, bytes: imageOf(32) } }),
                  command(3, 15),
                ]
              : sequence,
          ]),
        ),
      }),
    });
    expect(checkWhole(unit, overridden).refusal?.code).toBe('image-not-named');
  });
});
