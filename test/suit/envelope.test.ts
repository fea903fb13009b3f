import { describe, expect, test } from 'vitest';
import { type ByteSource, concat, fromHex, sourceOf } from '../../src/bytes/index.ts';
import { CborEncoded, type CborValue, encode, encodeHead } from '../../src/cbor/index.ts';
import { decodeCose, verifySign1 } from '../../src/cose/index.ts';
import { readPublicKey } from '../../src/crypto/index.ts';
import {
  digestMatches,
  digestOf,
  type Envelope,
  manifestDigestMatches,
  openEnvelope,
  SUIT_LIMITS,
  SuitError,
  type SuitErrorCode,
} from '../../src/suit/index.ts';
import { EXAMPLE_0, EXAMPLES } from './examples.ts';
import { DIGEST, rawEnvelope, rawManifest, rawMap, wrapperOf } from './raw.ts';

const open = (bytes: Uint8Array): Envelope => openEnvelope(sourceOf(bytes));

function refusalOf(bytes: Uint8Array): SuitError {
  try {
    open(bytes);
  } catch (error) {
    if (error instanceof SuitError) return error;
    throw error;
  }
  throw new Error('the envelope was accepted');
}

/** The public key that draft-ietf-suit-manifest-37 Appendix B prints. */
const EXAMPLE_KEY = readPublicKey(
  fromHex(
    '3059301306072a8648ce3d020106082a8648ce3d030107034200048496811aae0baaabd26157189eecda26beaa8bf11b6f3fe6e2b5659c85' +
      'dbc0ad3b1f2a4b6c098131c0a36dacd1d78bd381dcdfb09c052db33991db7338b4a896',
  ),
)!;

describe('[M] Appendix B: the shell of the published examples', () => {
  test.each(EXAMPLES)('%s', (_name, bytes) => {
    const envelope = open(bytes);
    expect(envelope.tag107).toBe(true);
    expect(envelope.digest.algorithm).toBe(-16);
    expect(envelope.blocks).toHaveLength(1);
    expect(manifestDigestMatches(envelope)).toBe(true);
    expect([envelope.severed.size, envelope.integrated.size]).toEqual([0, 0]);
    const { start, end } = envelope.manifestSpan;
    expect(envelope.manifestBstr).toEqual(bytes.subarray(start, end));
    expect(envelope.manifest).toEqual(bytes.subarray(envelope.manifestStart, end));
  });
});

describe('the digest rules, on [M] Appendix B.1', () => {
  const envelope = open(EXAMPLE_0);
  const { digest, manifest, manifestBstr } = envelope;
  const message = decodeCose(envelope.blocks[0]!.bytes, { requireTag: true });
  const verdict = (payload: Uint8Array) =>
    message.kind === 'sign1' ? verifySign1(message, EXAMPLE_KEY, payload) : undefined;

  test('8.3: it covers the byte string of the manifest with its header', () => {
    expect(digestMatches(digest, manifestBstr)).toBe(true);
  });

  test('8.3: over the content alone it differs', () => {
    expect(digestMatches(digest, manifest)).toBe(false);
  });

  test('8.3: the detached COSE payload is the encoded SUIT_Digest array, 36 bytes', () => {
    expect(digest.encoded).toHaveLength(36);
    expect(verdict(digest.encoded)).toMatchObject({ ok: true });
  });

  test('8.3: wrapped once more it does not verify', () => {
    expect(verdict(encode(digest.encoded))).toMatchObject({ ok: false });
  });

  test('8.3: nor do the bare bytes of the digest', () => {
    expect(verdict(digest.bytes)).toMatchObject({ ok: false });
  });

  test('section 10: an algorithm that is known and not computed here is noted and matches nothing', () => {
    const sha512: CborValue = encode([-44, new Uint8Array(64)]);
    const other = open(rawEnvelope([2, encode([sha512])], [3, manifest]));
    expect(other.digest.algorithm).toBe(-44);
    expect(manifestDigestMatches(other)).toBe(false);
  });
});

const MANIFEST = rawManifest();
const WRAPPER = wrapperOf(MANIFEST);
const TEXT_KEY = (key: string): CborValue => key;

const REFUSED: readonly [string, SuitErrorCode, Uint8Array][] = [
  ['section 11: a manifest without envelope', 'not-an-envelope', concat(encodeHead(6, 1070), MANIFEST)],
  [
    'section 11: another tag',
    'not-an-envelope',
    concat(encodeHead(6, 108), rawMap([2, WRAPPER], [3, MANIFEST]).bytes),
  ],
  ['8.2: an array', 'not-an-envelope', encode([WRAPPER, MANIFEST])],
  ['a picture', 'not-an-envelope', fromHex('89504e470d0a1a0a')],
  ['an empty file', 'truncated', new Uint8Array(0)],
  ['8.2: no elements', 'element-missing', rawEnvelope()],
  ['8.3: no wrapper', 'element-missing', rawEnvelope([3, MANIFEST])],
  ['8.2: no manifest', 'element-missing', rawEnvelope([2, WRAPPER])],
  ['8.3: the manifest before its wrapper', 'wrapper-order', rawEnvelope([3, MANIFEST], [2, WRAPPER])],
  ['11.1: key 0, unset detection', 'element-unknown', rawEnvelope([0, WRAPPER], [2, WRAPPER], [3, MANIFEST])],
  ['11.1: key 1, reserved', 'element-unknown', rawEnvelope([1, WRAPPER], [2, WRAPPER], [3, MANIFEST])],
  ['11.1: an unassigned key', 'element-unknown', rawEnvelope([2, WRAPPER], [3, MANIFEST], [22, MANIFEST])],
  [
    '11.1: a key beyond 64 bits of number',
    'element-unknown',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], [2n ** 60n, WRAPPER]),
  ],
  ['11.1: a negative key', 'element-unknown', rawEnvelope([2, WRAPPER], [3, MANIFEST], [-1, MANIFEST])],
  [
    '8.2: a key of bytes',
    'element-unknown',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], [fromHex('00'), MANIFEST]),
  ],
  [
    '[TD] 9.1: dependency resolution',
    'element-unsupported',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], [15, MANIFEST]),
  ],
  [
    '[TD] 9.1: candidate verification',
    'element-unsupported',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], [18, MANIFEST]),
  ],
  [
    '8.1: keys out of order',
    'element-order',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], ['#b', WRAPPER], ['#a', WRAPPER]),
  ],
  [
    '8.1: a payload before the wrapper',
    'element-order',
    rawEnvelope(['#a', WRAPPER], [2, WRAPPER], [3, MANIFEST]),
  ],
  [
    'RFC 8949 5.6: an element twice',
    'element-duplicate',
    rawEnvelope([2, WRAPPER], [2, WRAPPER], [3, MANIFEST]),
  ],
  [
    'RFC 8949 5.6: a payload twice',
    'element-duplicate',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], ['#a', WRAPPER], ['#a', WRAPPER]),
  ],
  [
    '8.1: an element that is no byte string',
    'element-type',
    rawEnvelope([2, WRAPPER], [3, new CborEncoded(MANIFEST)]),
  ],
  [
    '7.5: a payload that is no byte string',
    'element-type',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], ['#image', 'text']),
  ],
  ['bytes after the envelope', 'trailing', concat(EXAMPLE_0, fromHex('00'))],
  ['a second envelope', 'trailing', concat(EXAMPLE_0, EXAMPLE_0)],
  [
    'RFC 8949 4.2.1: a map of indefinite length',
    'cbor',
    concat(fromHex('d86bbf'), EXAMPLE_0.subarray(3), fromHex('ff')),
  ],
  [
    'RFC 8949 4.2.1: a length not in its shortest form',
    'cbor',
    concat(fromHex('d86bb802'), EXAMPLE_0.subarray(3)),
  ],
  [
    'RFC 8949 4.2.1: the tag not in its shortest form',
    'cbor',
    concat(fromHex('d9006b'), EXAMPLE_0.subarray(2)),
  ],
  ['8.3: a wrapper without digest', 'element-missing', rawEnvelope([2, encode([])], [3, MANIFEST])],
  [
    '8.3: a wrapper that is a map',
    'element-type',
    rawEnvelope([2, rawMap([1, DIGEST]).bytes], [3, MANIFEST]),
  ],
  ['8.3: a digest that is not wrapped', 'element-type', rawEnvelope([2, encode([DIGEST])], [3, MANIFEST])],
  [
    '8.3: a block that is not wrapped',
    'element-type',
    rawEnvelope([2, encode([encode(DIGEST), 1])], [3, MANIFEST]),
  ],
  [
    'section 10: a digest that is a map',
    'digest',
    rawEnvelope([2, encode([rawMap([1, 2]).bytes])], [3, MANIFEST]),
  ],
  [
    'section 10: a digest of three parts',
    'digest',
    rawEnvelope([2, encode([encode([-16, new Uint8Array(32), 0])])], [3, MANIFEST]),
  ],
  [
    'section 10: a digest of the wrong length',
    'digest',
    rawEnvelope([2, encode([encode([-16, new Uint8Array(31)])])], [3, MANIFEST]),
  ],
  [
    'section 10: an empty digest',
    'digest',
    rawEnvelope([2, encode([encode([-16, new Uint8Array(0)])])], [3, MANIFEST]),
  ],
  [
    'section 10: a digest algorithm nobody knows',
    'digest-algorithm',
    rawEnvelope([2, encode([encode([-15, new Uint8Array(8)])])], [3, MANIFEST]),
  ],
  ['a wrapper that is no CBOR', 'cbor', rawEnvelope([2, fromHex('ff')], [3, MANIFEST])],
  ['a wrapper with bytes after it', 'cbor', rawEnvelope([2, concat(WRAPPER, fromHex('00'))], [3, MANIFEST])],
  [
    'limit: elements',
    'limit',
    rawEnvelope(
      [2, WRAPPER],
      [3, MANIFEST],
      ...Array.from({ length: 40 }, (_, i) => [TEXT_KEY(`#${String(i).padStart(2, '0')}`), WRAPPER] as const),
    ),
  ],
  ['limit: wrapper', 'limit', rawEnvelope([2, new Uint8Array(SUIT_LIMITS.wrapperSize + 1)], [3, MANIFEST])],
  ['limit: manifest', 'limit', rawEnvelope([2, WRAPPER], [3, new Uint8Array(SUIT_LIMITS.manifestSize + 1)])],
  [
    'limit: severed element',
    'limit',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], [23, new Uint8Array(SUIT_LIMITS.severedSize + 1)]),
  ],
  [
    'limit: key of a payload',
    'limit',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], ['#'.repeat(SUIT_LIMITS.payloadKeySize + 1), WRAPPER]),
  ],
  [
    'limit: authentication blocks',
    'limit',
    rawEnvelope(
      [2, encode([encode(DIGEST), ...Array.from({ length: SUIT_LIMITS.blocks + 1 }, () => fromHex('00'))])],
      [3, MANIFEST],
    ),
  ],
  [
    'RFC 8949 3.1: a payload key that is not UTF-8',
    'cbor',
    rawEnvelope([2, WRAPPER], [3, MANIFEST], [new CborEncoded(fromHex('61ff')), WRAPPER]),
  ],
];

describe('[M] 8.2, 8.3, 6.2: what is refused before anything inside the manifest is read', () => {
  test.each(REFUSED)('%s: %s', (_name, code, bytes) => {
    const error = refusalOf(bytes);
    expect(error.code).toBe(code);
    expect(error.offset).toBeGreaterThanOrEqual(0);
    expect(error.offset).toBeLessThanOrEqual(bytes.length);
  });

  test('nothing inside the manifest is read: it may be anything', () => {
    const nonsense = fromHex('ffffff');
    expect(open(rawEnvelope([2, wrapperOf(nonsense)], [3, nonsense])).manifest).toEqual(nonsense);
  });

  test('a declared length beyond the file is refused before anything is reserved for it', () => {
    const bytes = concat(rawEnvelope([2, WRAPPER], [3, MANIFEST]), fromHex('00')).slice(0, -1);
    const huge = concat(
      bytes.subarray(0, 2),
      encodeHead(5, 3),
      bytes.subarray(3),
      encode('#image'),
      fromHex('5bffffffffffffffff'),
    );
    expect(refusalOf(huge)).toMatchObject({ code: 'truncated' });
  });

  test('section 11: the tag may be left out, and that is noted', () => {
    expect(open(EXAMPLE_0.subarray(2)).tag107).toBe(false);
  });
});

describe('[M] 7.5: integrated payloads', () => {
  const head = rawEnvelope([2, WRAPPER], [3, MANIFEST], ['#image', fromHex('010203')]);

  test('are located, not copied', () => {
    const payload = open(head).integrated.get('#image')!;
    expect(head.subarray(payload.offset, payload.offset + payload.length)).toEqual(fromHex('010203'));
    expect(payload.span).toEqual({ start: payload.offset - 1, end: head.length });
  });

  test('a payload of 2 GiB is never read: small reads at its head only', () => {
    const size = 2 ** 31;
    const front = concat(
      fromHex('d86ba3'),
      ...[encode(2), encode(WRAPPER), encode(3), encode(MANIFEST), encode('#image'), encodeHead(2, size)],
    );
    let most = 0;
    const source: ByteSource = {
      size: front.length + size,
      read: (offset, length) => {
        most = Math.max(most, length);
        const bytes = new Uint8Array(length);
        bytes.set(front.subarray(offset, Math.min(offset + length, front.length)));
        return bytes;
      },
    };
    expect(openEnvelope(source).integrated.get('#image')!.length).toBe(size);
    expect(most).toBeLessThan(1_000);
  });
});

describe('RFC 9124 4.3.21: from check to use nothing changes', () => {
  test('what is opened is copied out of its source', () => {
    const bytes = EXAMPLE_0.slice();
    const envelope = open(bytes);
    bytes.fill(0);
    expect(manifestDigestMatches(envelope)).toBe(true);
    expect(envelope.digest.encoded).toEqual(open(EXAMPLE_0).digest.encoded);
  });
});

describe('[M] 8.4.12: severed elements', () => {
  test('are kept with their header, which their digest covers', () => {
    const text = encode(rawMap(['en', rawMap([1, 'a text'])]));
    const part = open(rawEnvelope([2, WRAPPER], [3, MANIFEST], [23, text])).severed.get(23)!;
    expect(part.content).toEqual(text);
    expect(digestMatches(digestOf(encode(text)), part.bstr)).toBe(true);
  });
});
