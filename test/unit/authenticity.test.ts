import { describe, expect, it } from 'vitest';
import { concat, fromHex, sourceOf } from '../../src/bytes/index.ts';
import { type PublicKey, sha256 } from '../../src/crypto/index.ts';
import { describeRelease, integratedUris, openEnvelope, writeManifest } from '../../src/suit/index.ts';
import { checkAuthenticity, toJson, type Verdict } from '../../src/unit/index.ts';
import { readSubjectKey } from '../../src/x509/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import {
  CLASS_KEY,
  COHORT_KEY,
  envelopeOf,
  imageOf,
  macedWith,
  makerChain,
  release,
  type Sealing,
  signedBy,
  VENDOR,
  VENT,
} from './maker.ts';
import { FETCH, IMAGE, rawRelease, sealedRaw, set } from './raw-release.ts';

const chain = await makerChain();
const key = readSubjectKey(chain.keys.signer.spki)!;
const seal = signedBy(chain);
const judge = (envelope: Uint8Array, by: PublicKey | Uint8Array = key, image?: Uint8Array): Verdict =>
  checkAuthenticity({ envelope: sourceOf(envelope), key: by, image: image && sourceOf(image) });
const outcomes = ({ steps }: Verdict) => steps.map(({ outcome }) => outcome);

interface Decoded {
  manifestDigestHex: string;
}

describe('a stranger’s envelope under one key', () => {
  it('an integrated image: accepted, and what only a unit can know is not judged', async () => {
    const verdict = judge(await sealedRaw(seal));
    expect(verdict).toMatchObject({ verdict: 'accepted', scope: 'authenticity', refusal: null });
    expect(outcomes(verdict)).toEqual([
      'passed',
      'not judged',
      'passed',
      'passed',
      'not judged',
      'not judged',
      'not judged',
      'passed',
      'passed',
    ]);
    expect(toJson(verdict).scope).toBe('authenticity');
  });

  it('another class, an old number, an unknown component: none of it blocks', async () => {
    const parts = { number: 0, components: [[fromHex('00')]] };
    expect(judge(await sealedRaw(seal, parts)).verdict).toBe('accepted');
  });

  it('the key of another signer', async () => {
    const other = readSubjectKey((await makerChain()).keys.signer.spki)!;
    expect(judge(await sealedRaw(seal), other).refusal?.code).toBe('signature-wrong');
  });

  it('a key of another type', async () => {
    const edwards = readSubjectKey((await makerChain('ed25519')).keys.signer.spki)!;
    expect(judge(await sealedRaw(seal), edwards).refusal?.code).toBe('algorithm-not-allowed');
  });

  it('the block of the key is found among others', async () => {
    const other = await makerChain('ed25519');
    const both: Sealing = async (digest) => [
      ...(await signedBy(other, {}, 'ed25519')(digest)),
      ...(await macedWith(CLASS_KEY)(digest)),
      ...(await seal(digest)),
    ];
    const envelope = await sealedRaw(both);
    expect(judge(envelope).verdict).toBe('accepted');
    expect(judge(envelope, CLASS_KEY.key).verdict).toBe('accepted');
    expect(judge(envelope, COHORT_KEY.key).refusal?.code).toBe('mac-wrong');
  });

  it('a MAC key is never taken for a public key, nor a public key for a MAC key', async () => {
    expect(judge(await sealedRaw(macedWith(CLASS_KEY))).refusal?.code).toBe('scheme-wrong');
    expect(judge(await sealedRaw(seal), CLASS_KEY.key).refusal?.code).toBe('scheme-wrong');
  });

  it('a changed manifest', async () => {
    const envelope = await sealedRaw(seal, { number: 0x4142 });
    const manifest = Buffer.from(rawRelease({ number: 0x4142 }));
    const number = manifest.indexOf('194142', 'hex');
    envelope[Buffer.from(envelope).indexOf(manifest) + number + 1]! ^= 1;
    expect(judge(envelope).refusal?.code).toBe('manifest-digest-wrong');
  });

  it('[TD] 5.6.5: a genuine manifest that we cannot follow is not refused; the answer is incomplete', async () => {
    const verdict = judge(await sealedRaw(seal, { install: [...FETCH, 31, 0] }));
    expect(verdict).toMatchObject({ verdict: 'incomplete', refusal: null });
    expect(outcomes(verdict)[3]).toBe('absent');
  });

  it('[M] 6.1: a manifest that no processor may follow is refused', async () => {
    expect(judge(await sealedRaw(seal, { install: [...FETCH, 99, 0] })).refusal?.code).toBe(
      'command-unknown',
    );
  });
});

describe('images of a stranger’s envelope', () => {
  it('detached and supplied: right, wrong, short', async () => {
    const { envelope } = await release({ seal, images: [IMAGE], detached: true });
    expect(judge(envelope, key, IMAGE).verdict).toBe('accepted');
    expect(judge(envelope, key, imageOf(IMAGE.length, 4)).refusal?.code).toBe('image-digest-wrong');
    expect(judge(envelope, key, IMAGE.slice(1)).refusal?.code).toBe('image-length-wrong');
  });

  it('detached and not supplied: incomplete', async () => {
    const { envelope } = await release({ seal, images: [IMAGE], detached: true });
    const verdict = judge(envelope);
    expect(verdict.verdict).toBe('incomplete');
    expect(outcomes(verdict).slice(7)).toEqual(['absent', 'absent']);
  });

  it('[M] 7.7: images for two slots are alternatives; one of them is enough', async () => {
    const images = [imageOf(3000, 1), imageOf(3001, 2)];
    const { envelope } = await release({ seal, shape: 'linked', images, detached: true });
    expect(judge(envelope).facts.images!.map(({ size }) => size)).toEqual([3000, 3001]);
    for (const image of images) expect(judge(envelope, key, image).verdict).toBe('accepted');
    expect(judge(envelope, key, imageOf(3000, 3)).refusal?.code).toBe('image-digest-wrong');
    expect(judge(envelope).verdict).toBe('incomplete');
  });

  it('[M] 7.7: every integrated image is judged, the second as well as the first', async () => {
    const images = [imageOf(3000, 1), imageOf(3001, 2)];
    const payloads = [images[0]!, imageOf(3001, 3)];
    const { envelope } = await release({ seal, shape: 'linked', images, payloads });
    expect(judge(envelope).refusal?.code).toBe('image-digest-wrong');
  });

  it('[M] 7.4: a staged image is one image', async () => {
    const { envelope } = await release({ seal, shape: 'staged', images: [IMAGE] });
    const verdict = judge(envelope);
    expect(verdict.verdict).toBe('accepted');
    expect(verdict.facts.images).toHaveLength(1);
  });

  it('[M] 8.4.12: a severed install sequence that was not delivered leaves the image unknown', async () => {
    const image = {
      digest: sha256(IMAGE),
      sizeBytes: IMAGE.length,
      uri: `${integratedUris('remapped')[0]}${'x'.repeat(40)}`,
    };
    const facts = {
      shape: 'remapped',
      sequenceNumber: 7,
      vendorId: VENDOR,
      classId: VENT,
      start: true,
    } as const;
    const { manifest } = writeManifest({
      ...describeRelease({ ...facts, images: [image] }),
      sever: ['install'],
    });
    const envelope = await envelopeOf({ manifest, seal });
    expect(judge(envelope).verdict).toBe('incomplete');
    expect(judge(envelope, key, IMAGE).verdict).toBe('accepted');
  });

  it('[M] 8.4.10.6: content that the manifest itself writes is there already', async () => {
    const content = fromHex('c0ffee');
    const digest = concat(fromHex('822f5820'), sha256(content));
    const shared = [...set([1, VENDOR], [2, VENT], [3, digest], [14, 3]), 1, 15, 2, 15];
    const manifest = rawRelease({ shared, install: [...set([18, content]), 18, 2, 3, 15] });
    expect(judge(await envelopeOf({ manifest, seal })).verdict).toBe('accepted');
  });

  it('an image that was supplied for an integrated one is not used, and a warning says so', async () => {
    expect(judge(await sealedRaw(seal), key, imageOf(5)).facts.warnings).toHaveLength(1);
  });

  it('a manifest that names no image needs none', async () => {
    const verdict = judge(await sealedRaw(seal, { validate: null, install: null }));
    expect(verdict.verdict).toBe('accepted');
  });
});

interface PublishedKey {
  id: string;
  kHex?: string;
  xHex: string;
  yHex: string;
}

function published({ kHex, xHex, yHex }: PublishedKey): PublicKey | Uint8Array {
  if (kHex) return fromHex(kHex);
  return readSubjectKey(fromHex(`3059301306072a8648ce3d020106082a8648ce3d03010703420004${xHex}${yHex}`))!;
}

describe.skipIf(!vectorsPresent)('draft-ietf-suit-manifest-37 Appendix B', () => {
  const file: { keys: PublishedKey[]; cases: { envelopes: { envelopeHex: string }[]; decoded: Decoded }[] } =
    vectorsPresent ? vectors('suit-manifest-examples') : { keys: [], cases: [] };
  const blocksIn = (bytes: Uint8Array) => openEnvelope(sourceOf(bytes)).blocks.length;
  const forms = file.cases.flatMap(({ envelopes, decoded }) =>
    envelopes.map(({ envelopeHex }) => ({ bytes: fromHex(envelopeHex), decoded })),
  );
  const signed = forms.filter(({ bytes }) => blocksIn(bytes) > 0);
  const unsigned = forms.filter(({ bytes }) => blocksIn(bytes) === 0);
  const [signer] = file.keys.map(published);

  it('is there', () => expect(signed.length).toBeGreaterThan(0));

  it.each(signed)(
    '$decoded.manifestDigestHex: genuine, by a legacy algorithm under a published key',
    (form) => {
      const verdict = judge(form.bytes, signer);
      expect(verdict.refusal).toBeNull();
      expect(outcomes(verdict).slice(0, 4)).toEqual(['passed', 'not judged', 'passed', 'passed']);
      expect(verdict.verdict).toBe('incomplete');
      expect(verdict.facts.manifestDigest).toEqual(fromHex(form.decoded.manifestDigestHex));
      expect(verdict.facts.warnings.join()).toMatch(/published example key.*legacy/s);
    },
  );

  it.each(unsigned)('$decoded.manifestDigestHex: unsigned, nobody vouches for it', ({ bytes }) => {
    expect(judge(bytes, signer).refusal?.code).toBe('authentication-missing');
  });

  it.each(signed)('$decoded.manifestDigestHex: one bit anywhere', ({ bytes }) => {
    for (let bit = 0; bit < bytes.length * 8; bit += 11) {
      const changed = bytes.slice();
      changed[bit >> 3]! ^= 1 << (bit & 7);
      expect(judge(changed, signer).verdict, `bit ${bit}`).toBe('refused');
    }
  });
});

describe.skipIf(!vectorsPresent)('draft-ietf-suit-firmware-encryption 9: manifests that decrypt', () => {
  const file: { keys: PublishedKey[]; cases: { kind: string; envelopeHex: string; authKey: string }[] } =
    vectorsPresent ? vectors('suit-encryption-examples') : { keys: [], cases: [] };
  const manifests = file.cases.filter(({ kind }) => kind === 'manifest');

  it.each(manifests)('$id: signature or MAC verify; what is encrypted is left to a unit', (example) => {
    const key = published(file.keys.find(({ id }) => id === example.authKey)!);
    const verdict = judge(fromHex(example.envelopeHex), key);
    const authentication = verdict.steps.find(({ step }) => step === 'authentication');
    expect(authentication?.outcome).toBe('passed');
    expect(verdict.verdict).not.toBe('accepted');
    expect(verdict.facts.warnings.join()).toContain('published example key');
  });
});
