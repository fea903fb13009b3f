/** Sealing and streaming: fresh keys, pieces of any length, and plaintext that counts only after its integrity is shown. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { concat, fromUtf8, toHex } from '../../../src/bytes/index.ts';
import {
  type ContentAlgorithm,
  type ContentKey,
  decodeEncrypted,
  decryptWhole,
  heldWrappingKey,
  type IntegrityBasis,
  openEncrypt,
  openEncryptionInfo,
  prepareEncrypt,
  sealEncrypt,
  sealEncrypt0,
  startDecrypt,
  startEncrypt,
  wrappingKeyUnwrapper,
} from '../../../src/cose/index.ts';
import { randomBytes, sha256 } from '../../../src/crypto/index.ts';
import { A128CTR, A128GCM, CHACHA, CONTENT, MemorySink, readInfo, scripted } from './support.ts';

const KEK = new Uint8Array(16).fill(2);
const recipients = [heldWrappingKey(KEK)];
const IMAGE = new Uint8Array(5000).map((_, i) => i * 7);

async function encrypted(algorithm: ContentAlgorithm, pieceSize = 1 << 20, image = IMAGE) {
  const running = await startEncrypt({ algorithm, recipients });
  const pieces: Uint8Array[] = [];
  for (let at = 0; at < image.length; at += pieceSize) {
    pieces.push(running.update(image.subarray(at, at + pieceSize)));
  }
  return { info: running.info, payload: concat(...pieces, running.final()) };
}

function contentOf(info: Uint8Array): ContentKey {
  const opened = openEncryptionInfo(info, [wrappingKeyUnwrapper(KEK)], { algorithms: CONTENT });
  if (!opened.ok) throw new Error(opened.detail);
  return opened.content;
}

const basisFor = ({ mode }: ContentAlgorithm): IntegrityBasis => ({
  by: mode === 'ctr' ? 'read-back' : 'tag',
});

describe('draft-ietf-suit-firmware-encryption 5, 11: a content key and IV are used once', () => {
  it('every encryption draws its own, from the system unless a test says otherwise', async () => {
    const seen = new Set<string>();
    for (const algorithm of CONTENT) {
      for (let i = 0; i < 20; i++) {
        const content = contentOf((await encrypted(algorithm)).info);
        seen.add(toHex(content.key)).add(toHex(content.iv));
      }
    }
    expect(seen.size).toBe(2 * 20 * CONTENT.length);
  });
  it('what is prepared gives the same bytes each time it begins, and nothing once the key is wiped', async () => {
    for (const algorithm of CONTENT) {
      const prepared = await prepareEncrypt({ algorithm, recipients });
      const once = () => {
        const running = prepared.begin();
        return concat(
          running.update(IMAGE.subarray(0, 1001)),
          running.update(IMAGE.subarray(1001)),
          running.final(),
        );
      };
      const payload = once();
      expect(once()).toEqual(payload);
      const content = contentOf(prepared.info);
      const integrity: IntegrityBasis = { by: algorithm.mode === 'ctr' ? 'ciphertext-digest' : 'tag' };
      expect(decryptWhole(content, payload, integrity)).toMatchObject({
        ok: true,
        plaintext: IMAGE,
      });
      prepared.forget();
      expect(() => prepared.begin()).toThrow('wiped');
    }
  });
  it('a random source that repeats a key is refused, one that changes is not', async () => {
    const stuck = (length: number) => new Uint8Array(length).fill(7);
    await startEncrypt({ algorithm: A128GCM, recipients, random: stuck });
    await expect(startEncrypt({ algorithm: A128CTR, recipients, random: stuck })).rejects.toThrow(
      /second time/,
    );
    await expect(
      sealEncrypt({ algorithm: A128GCM, recipients, random: stuck, plaintext: IMAGE }),
    ).rejects.toThrow();
    let n = 0;
    const counting = (length: number) => new Uint8Array(length).fill(n++);
    for (let i = 0; i < 5; i++) await startEncrypt({ algorithm: A128GCM, recipients, random: counting });
  });
  it('RFC 9053 4.1: an IV that repeats under a shared key is refused', () => {
    const shared = { algorithm: CHACHA, key: randomBytes(32) };
    const stuck = (length: number) => new Uint8Array(length);
    sealEncrypt0(shared, { plaintext: IMAGE, random: stuck });
    expect(() => sealEncrypt0(shared, { plaintext: IMAGE, random: stuck })).toThrow(/second time/);
    expect(() =>
      sealEncrypt0({ ...shared, key: randomBytes(32) }, { plaintext: IMAGE, random: stuck }),
    ).not.toThrow();
  });
  it('a source that gives too little is refused', async () => {
    const random = scripted(new Uint8Array(15));
    await expect(startEncrypt({ algorithm: A128GCM, recipients, random })).rejects.toThrow(/15 bytes/);
  });
  it.each<[string, object]>([
    ['an IV of the caller', { unprotectedHeaders: [[5, new Uint8Array(12)]] }],
    ['a partial IV', { unprotectedHeaders: [[6, new Uint8Array(2)]] }],
    ['an alg of the caller', { protectedHeaders: [[1, 3]] }],
    ['no recipient', { recipients: [] }],
    ['more recipients than are read', { recipients: Array.from({ length: 2049 }, () => recipients[0]!) }],
    ['AES-CTR with a protected header', { algorithm: A128CTR, protectedHeaders: [[3, 0]] }],
    ['AES-CTR with external data', { algorithm: A128CTR, externalAad: new Uint8Array(1) }],
  ])('%s is wrong use', async (_, parts) => {
    await expect(startEncrypt({ algorithm: A128GCM, recipients, ...parts })).rejects.toThrow(TypeError);
  });
  it('a custody that returns a wrapped key of another length stops the sealing', async () => {
    const broken = { ...recipients[0]!, wrap: async () => new Uint8Array(16) };
    await expect(startEncrypt({ algorithm: A128GCM, recipients: [broken] })).rejects.toThrow(/custody/);
  });
});

describe.each(CONTENT.map((algorithm) => [algorithm.name, algorithm] as const))(
  '%s in pieces',
  (_, algorithm) => {
    it.each([1, 15, 16, 17, 31, 4096, 4999, 5000, 5001])('of %i bytes gives the image back', async (size) => {
      const { info, payload } = await encrypted(algorithm, size);
      expect(payload.length).toBe(IMAGE.length + algorithm.tagLength);
      const sink = new MemorySink();
      const running = startDecrypt(contentOf(info), sink, basisFor(algorithm));
      for (let at = 0; at < payload.length; at += size) running.update(payload.subarray(at, at + size));
      expect(running.final()).toEqual({ ok: true, length: IMAGE.length });
      expect([sink.state, sink.hex]).toEqual(['committed', toHex(IMAGE)]);
      expect(sink.offsets[0]).toBe(0);
      expect(sink.offsets.at(-1)! + sink.pieces.at(-1)!.length).toBe(IMAGE.length);
    });
    it('of random lengths gives the image back, an empty one too', async () => {
      const cut = fc.array(fc.nat(70), { maxLength: 12 });
      await fc.assert(
        fc.asyncProperty(cut, cut, async (writes, reads) => {
          const image = randomBytes(writes.reduce((a, b) => a + b, 0));
          const running = await startEncrypt({ algorithm, recipients });
          const pieces = inPieces(image, writes).map((piece) => running.update(piece));
          const payload = concat(...pieces, running.final());
          const sink = new MemorySink();
          const back = startDecrypt(contentOf(running.info), sink, basisFor(algorithm));
          for (const piece of inPieces(payload, reads)) back.update(piece);
          expect(back.final()).toEqual({ ok: true, length: image.length });
          expect(sink.hex).toBe(toHex(image));
        }),
        { numRuns: 40 },
      );
    });
  },
);

function inPieces(bytes: Uint8Array, lengths: readonly number[]): Uint8Array[] {
  const pieces: Uint8Array[] = [];
  let at = 0;
  for (const length of [...lengths, bytes.length]) {
    pieces.push(bytes.subarray(at, at + length));
    at = Math.min(bytes.length, at + length);
  }
  return pieces;
}

describe('RFC 9459 8, draft 7.2: what shows that a plaintext is the right one', () => {
  it('AES-CTR is not taken on trust', async () => {
    const content = contentOf((await encrypted(A128CTR)).info);
    expect(() => startDecrypt(content, new MemorySink(), { by: 'tag' })).toThrow(TypeError);
    expect(() => decryptWhole(content, IMAGE)).toThrow(TypeError);
  });
  it.each([A128CTR, A128GCM])(
    'a digest of the plaintext is compared before anything is committed',
    async (algorithm) => {
      const { info, payload } = await encrypted(algorithm);
      const outcome = (sha: Uint8Array) => {
        const sink = new MemorySink();
        const running = startDecrypt(contentOf(info), sink, { by: 'plaintext-digest', sha256: sha });
        running.update(payload);
        return [running.final(), sink.state];
      };
      expect(outcome(sha256(IMAGE))).toEqual([{ ok: true, length: IMAGE.length }, 'committed']);
      expect(outcome(sha256(payload))).toMatchObject([{ code: 'plaintext-differs' }, 'discarded']);
      expect(outcome(sha256(IMAGE).subarray(1))).toMatchObject([{ code: 'plaintext-differs' }, 'discarded']);
    },
  );
  it('a changed ciphertext with a tag is discarded, wherever the change is', async () => {
    for (const algorithm of [A128GCM, CHACHA]) {
      const { info, payload } = await encrypted(algorithm, 100, IMAGE.subarray(0, 100));
      for (let place = 0; place < payload.length; place++) {
        const changed = payload.slice();
        changed[place]! ^= 0x10;
        const sink = new MemorySink();
        const running = startDecrypt(contentOf(info), sink, { by: 'tag' });
        running.update(changed);
        expect(running.final()).toMatchObject({ ok: false, code: 'ciphertext-changed' });
        expect(sink.state).toBe('discarded');
      }
    }
  });
  it('a ciphertext cut short is discarded, cut into its tag it is named so', async () => {
    const { info, payload } = await encrypted(A128GCM, 100, IMAGE.subarray(0, 20));
    for (let length = 0; length < payload.length; length++) {
      const outcome = decryptWhole(contentOf(info), payload.subarray(0, length));
      expect(outcome).toMatchObject({ code: length < 16 ? 'ciphertext-short' : 'ciphertext-changed' });
    }
    expect(decryptWhole(contentOf(info), concat(payload, new Uint8Array(1)))).toMatchObject({
      code: 'ciphertext-changed',
    });
  });
  it('decryptWhole gives no plaintext with a refusal', async () => {
    const { info } = await encrypted(CHACHA);
    expect(Object.keys(decryptWhole(contentOf(info), IMAGE))).toEqual(['ok', 'code', 'detail']);
  });
  it('after its end, or after its sink failed, a decryption goes no further', async () => {
    const { info, payload } = await encrypted(A128GCM);
    const sink = new MemorySink();
    const running = startDecrypt(contentOf(info), sink, { by: 'tag' });
    running.update(payload);
    running.final();
    expect(() => running.update(payload)).toThrow(TypeError);
    expect(() => running.final()).toThrow(TypeError);

    const failing = new MemorySink();
    failing.write = () => {
      throw new Error('flash is worn out');
    };
    const stopped = startDecrypt(contentOf(info), failing, { by: 'tag' });
    expect(() => stopped.update(payload)).toThrow('worn out');
    expect(() => stopped.final()).toThrow(TypeError);
    expect(failing.state).toBe('open');
  });
});

describe('draft 8, 6.2.1: AES-CTR resumes at any offset', () => {
  it('the rest comes out as in one go, at the offsets of the whole', async () => {
    const { info, payload } = await encrypted(A128CTR);
    for (const offset of [0, 1, 15, 16, 17, 4096, 4999, 5000]) {
      const sink = new MemorySink();
      const running = startDecrypt(contentOf(info), sink, { by: 'read-back' }, offset);
      running.update(payload.subarray(offset, offset + 100));
      running.update(payload.subarray(offset + 100));
      expect(running.final()).toEqual({ ok: true, length: IMAGE.length - offset });
      expect(sink.hex).toBe(toHex(IMAGE.subarray(offset)));
      expect(sink.offsets[0] ?? offset).toBe(offset);
    }
  });
  it('one content key serves a second attempt', async () => {
    const { info, payload } = await encrypted(A128CTR);
    const content = contentOf(info);
    for (let attempt = 0; attempt < 2; attempt++) {
      expect(decryptWhole(content, payload, { by: 'read-back' })).toEqual({ ok: true, plaintext: IMAGE });
    }
  });
  it('an AEAD does not, nor is a digest of the whole compared with a part', async () => {
    const gcm = contentOf((await encrypted(A128GCM)).info);
    expect(() => startDecrypt(gcm, new MemorySink(), { by: 'tag' }, 16)).toThrow(TypeError);
    const ctr = contentOf((await encrypted(A128CTR)).info);
    const digest = { by: 'plaintext-digest', sha256: sha256(IMAGE) } as const;
    expect(() => startDecrypt(ctr, new MemorySink(), digest, 16)).toThrow(TypeError);
  });
});

describe('RFC 9052 5.1: an Encrypt that carries its ciphertext', () => {
  it('opens whole; headers and external data are authenticated', async () => {
    const externalAad = fromUtf8('hollinridge.example');
    const bytes = await sealEncrypt({
      algorithm: A128GCM,
      recipients,
      plaintext: IMAGE,
      externalAad,
      protectedHeaders: [[3, 'application/octet-stream']],
      unprotectedHeaders: [['note', 1]],
    });
    const read = readInfo(bytes);
    expect(read.headers.protectedGet(3)).toMatchObject({ value: 'application/octet-stream' });
    expect(read.headers.get('note')).toMatchObject({ value: 1 });
    const open = (aad: Uint8Array) => {
      const opened = openEncrypt(read, [wrappingKeyUnwrapper(KEK)], {
        algorithms: [A128GCM],
        externalAad: aad,
      });
      return opened.ok && decryptWhole(opened.content, read.ciphertext!);
    };
    expect(open(externalAad)).toEqual({ ok: true, plaintext: IMAGE });
    expect(open(new Uint8Array(0))).toMatchObject({ code: 'ciphertext-changed' });
    expect(decodeEncrypted(bytes).tag).toBe(96);
  });
});
