import { describe, expect, it } from 'vitest';
import { sourceOf, toHex } from '../../src/bytes/index.ts';
import { openEnvelope, writeEnvelopeHead } from '../../src/suit/index.ts';
import { keptEnvelope } from '../../src/unit/check/kept-envelope.ts';
import { toJson } from '../../src/unit/index.ts';
import {
  CLASS_KEY,
  COHORT_KEY,
  check,
  imageOf,
  macedWith,
  makerChain,
  release,
  type Sealing,
  signedBy,
  symmetricUnit,
  unitOf,
} from './maker.ts';

const chain = await makerChain();
const PASSED = new Array(9).fill('passed');

describe('a unit accepts what its maker seals for it', () => {
  it('ESP256, integrated image: nine steps passed in order', async () => {
    const { envelope, manifestDigest, images } = await release({ seal: signedBy(chain) });
    const verdict = check(unitOf(chain), envelope);
    expect(verdict.refusal).toBeNull();
    expect(verdict.verdict).toBe('accepted');
    expect(verdict.steps.map(({ outcome }) => outcome)).toEqual(PASSED);
    expect(verdict.facts).toMatchObject({ manifestDigest, sequenceNumber: 7n, securityVersion: 0 });
    expect(verdict.facts.images![0]!.size).toBe(images[0]!.length);
    expect(verdict.facts).toMatchObject({ effect: 'new install', slot: 'A', algorithm: 'ESP256 (-9)' });
  });

  it('Ed25519', async () => {
    const edwards = await makerChain('ed25519');
    const { envelope } = await release({ seal: signedBy(edwards, {}, 'ed25519') });
    expect(check(unitOf(edwards, { type: 'ed25519' }), envelope).verdict).toBe('accepted');
  });

  it('HMAC-256: the block of the class key, or of a cohort, wherever it stands', async () => {
    const { envelope } = await release({ seal: macedWith(CLASS_KEY, COHORT_KEY) });
    for (const key of [CLASS_KEY, COHORT_KEY]) {
      const verdict = check(symmetricUnit([key]), envelope);
      expect(verdict.verdict).toBe('accepted');
      expect(verdict.facts.macKeyId).toBe(toHex(key.id));
    }
  });

  it.each(['remapped', 'position-independent', 'linked', 'staged'] as const)(
    'slot shape %s',
    async (shape) => {
      const images = shape === 'linked' ? [imageOf(4000, 1), imageOf(4001, 2)] : [imageOf(4000)];
      const { envelope } = await release({ seal: signedBy(chain), shape, images });
      const verdict = check(unitOf(chain, { shape }), envelope);
      expect(verdict.refusal).toBeNull();
      expect(verdict.verdict).toBe('accepted');
    },
  );

  it('[M] 7.7: linked slots take the image of the slot that is free', async () => {
    const images = [imageOf(4000, 1), imageOf(4001, 2)];
    const { envelope } = await release({ seal: signedBy(chain), shape: 'linked', images });
    const kept = { state: 'kept', manifestDigest: new Uint8Array(32), sequenceNumber: 3n } as const;
    const state = { slots: [kept, { state: 'empty' }] as const, running: 0 };
    const verdict = check(unitOf(chain, { shape: 'linked', state }), envelope);
    expect(verdict.verdict).toBe('accepted');
    expect(verdict.facts.slot).toBe('B');
    expect(verdict.facts.images![0]!.size).toBe(4001);
  });

  it('a detached image that is supplied', async () => {
    const { envelope, images } = await release({ seal: signedBy(chain), detached: true });
    expect(check(unitOf(chain), envelope, images[0]).verdict).toBe('accepted');
  });

  it('a detached image that is not supplied: nothing is refuted, and the answer is incomplete', async () => {
    const { envelope } = await release({ seal: signedBy(chain), detached: true });
    const verdict = check(unitOf(chain), envelope);
    expect(verdict).toMatchObject({ verdict: 'incomplete', refusal: null });
    expect(verdict.steps.slice(-2).map(({ outcome }) => outcome)).toEqual(['absent', 'absent']);
  });

  it('the JSON shape is documented: fieldseal.check/1', async () => {
    const { envelope } = await release({ seal: signedBy(chain), version: '1.4.0' });
    const json = JSON.parse(JSON.stringify(toJson(check(unitOf(chain), envelope))));
    expect(json).toMatchObject({
      format: 'fieldseal.check/1',
      scope: 'unit',
      verdict: 'accepted',
      refusal: null,
    });
    expect(json.facts).toMatchObject({ sequence_number: 7, version: '1.4.0', security_version: 0 });
    for (const { comparisons } of json.steps) {
      for (const line of comparisons) expect(Object.keys(line)).toContain('source');
    }
  });
});

describe('the envelope that a unit keeps for start-up', () => {
  it('is a whole envelope of deterministic CBOR around the judged block: what a sealer would write without payloads', async () => {
    const other = await makerChain('ed25519');
    const both: Sealing = async (digest) => [
      ...(await signedBy(other, {}, 'ed25519')(digest)),
      ...(await signedBy(chain)(digest)),
    ];
    const { envelope } = await release({ seal: both, text: { language: 'en', modelName: 'VC-2' } });
    const opened = openEnvelope(sourceOf(envelope));
    const [wanted] = writeEnvelopeHead({
      digest: opened.digest.encoded,
      blocks: [opened.blocks[1]!.bytes],
      manifest: opened.manifest,
      severed: new Map(),
      integrated: [],
    });
    const kept = keptEnvelope(opened, [1]);
    expect(kept.bytes()).toEqual(wanted);
    expect(kept.size).toBe(wanted!.length);
  });
});
