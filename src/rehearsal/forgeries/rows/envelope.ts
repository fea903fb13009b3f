/** Step 1: shells that are cut, stretched, doubled or written otherwise, and digests that do not fit. */
import { concat, fromUtf8 } from '../../../bytes/index.ts';
import { encode, encodeHead } from '../../../cbor/index.ts';
import { Draft, ELEMENT } from '../draft.ts';
import { changed, dismantled, type Forgery, onUnit } from '../forgery.ts';
import { oneBit, type Parts, putTogether } from '../parts.ts';
import { sealedDigest } from '../seals.ts';

const TAG_107 = Uint8Array.of(0xd8, 0x6b);
const INDEFINITE_MAP = 0xbf;
const INDEFINITE_BYTES = 0x5f;
const BREAK = 0xff;
const WRAPPER = 2;
const MANIFEST = 3;
const SHA_384 = -43;
const SHAKE_128 = -18;

interface Entry {
  readonly key: Uint8Array;
  readonly value: Uint8Array;
}

const bytes = (content: Uint8Array): Uint8Array => concat(encodeHead(2, content.length), content);

/** The entries of the shell, in order. */
function entriesOf({ digest, blocks, manifest, severed, integrated }: Parts): Entry[] {
  return [
    { key: encode(WRAPPER), value: bytes(encode([digest, ...blocks])) },
    { key: encode(MANIFEST), value: bytes(manifest) },
    ...[...severed].map(([key, content]) => ({ key: encode(key), value: bytes(content) })),
    ...integrated.map((each) => ({ key: encode(each.key), value: bytes(each.bytes) })),
  ];
}

function written(entries: readonly Entry[], count: number | bigint = entries.length): Uint8Array {
  return concat(TAG_107, encodeHead(5, count), ...entries.flatMap(({ key, value }) => [key, value]));
}

/** The shell written by hand. */
const shell = (write: (entries: Entry[], parts: Parts) => Uint8Array) =>
  onUnit(({ parts, offer }) => ({ ...offer, envelope: write(entriesOf(parts), parts) }));

const withEntry = (at: number, change: Partial<Entry>) =>
  shell((entries) => written(entries.map((each, i) => (i === at ? { ...each, ...change } : each))));

function nested(depth: number): Uint8Array {
  return new Uint8Array(depth + 1).fill(0x81, 0, depth);
}

export const ENVELOPE_ROWS: readonly Forgery[] = [
  {
    name: 'Cut one byte short',
    threat: 'NET.ONPATH',
    built: 'the last byte of the envelope is left out',
    refusal: 'envelope-malformed',
    attack: changed((envelope) => envelope.subarray(0, -1)),
  },
  {
    name: 'Cut in the middle of the manifest',
    threat: 'NET.ONPATH',
    built: 'the envelope ends half way through its manifest',
    refusal: 'envelope-malformed',
    attack: changed((envelope, { parts }) => {
      const head = putTogether({ ...parts, severed: new Map(), integrated: [] });
      return envelope.subarray(0, head.length - Math.floor(parts.manifest.length / 2));
    }),
  },
  {
    name: 'One byte behind the end',
    threat: 'IMG.EXTRA',
    built: 'a zero byte is appended to the envelope',
    refusal: 'envelope-malformed',
    attack: changed((envelope) => concat(envelope, new Uint8Array(1))),
  },
  {
    name: 'Two envelopes in one file',
    threat: 'IMG.EXTRA',
    built: 'the envelope stands in the file twice',
    refusal: 'envelope-malformed',
    attack: changed((envelope) => concat(envelope, envelope)),
  },
  {
    name: 'An empty file',
    threat: 'NET.ONPATH',
    built: 'nothing is left of the envelope',
    refusal: 'envelope-malformed',
    attack: changed(() => new Uint8Array()),
  },
  {
    name: 'A firmware file in place of the envelope',
    threat: 'IMG.FORMAT',
    built: 'an Intel HEX file, as it comes from the compiler',
    refusal: 'envelope-malformed',
    attack: changed(() => fromUtf8(':020000040800F2\r\n:00000001FF\r\n')),
  },
  {
    name: 'A manifest twice in one shell',
    threat: 'MFST.TOCTOU',
    built:
      'the shell holds the manifest under its key a second time, so that one may be checked and the other used',
    refusal: 'envelope-malformed',
    attack: shell((entries) => written([entries[0]!, entries[1]!, ...entries.slice(1)])),
  },
  {
    name: 'A shell of unstated length',
    threat: 'IMG.FORMAT',
    built: 'the map of the shell is written with indefinite length',
    refusal: 'envelope-malformed',
    attack: shell((entries) =>
      concat(
        TAG_107,
        Uint8Array.of(INDEFINITE_MAP),
        ...entries.flatMap(({ key, value }) => [key, value]),
        Uint8Array.of(BREAK),
      ),
    ),
  },
  {
    name: 'A manifest in chunks',
    threat: 'IMG.FORMAT',
    built: 'the byte string of the manifest is written with indefinite length, in two chunks',
    refusal: 'envelope-malformed',
    attack: shell((entries, { manifest }) => {
      const half = Math.floor(manifest.length / 2);
      const chunks = [manifest.subarray(0, half), manifest.subarray(half)].map(bytes);
      const value = concat(Uint8Array.of(INDEFINITE_BYTES), ...chunks, Uint8Array.of(BREAK));
      return written(entries.map((each, i) => (i === 1 ? { ...each, value } : each)));
    }),
  },
  {
    name: 'A key written longer than it is',
    threat: 'IMG.FORMAT',
    built: 'the key of the manifest takes two bytes where one would do',
    refusal: 'envelope-malformed',
    attack: withEntry(1, { key: Uint8Array.of(0x18, MANIFEST) }),
  },
  {
    name: 'A length written longer than it is',
    threat: 'IMG.FORMAT',
    built: 'the length of the manifest takes eight bytes',
    refusal: 'envelope-malformed',
    attack: shell((entries, { manifest }) => {
      const length = new Uint8Array(9);
      length[0] = 0x5b;
      new DataView(length.buffer).setBigUint64(1, BigInt(manifest.length));
      const value = concat(length, manifest);
      return written(entries.map((each, i) => (i === 1 ? { ...each, value } : each)));
    }),
  },
  {
    name: 'A part that claims more bytes than there are',
    threat: 'NET.ONPATH',
    built: 'the manifest announces 2^60 bytes',
    refusal: 'envelope-malformed',
    attack: withEntry(1, { value: encodeHead(2, 2n ** 60n) }),
  },
  {
    name: 'A shell that claims four thousand million parts',
    threat: 'NET.ONPATH',
    built: 'the map of the shell announces 2^32 entries',
    refusal: 'envelope-too-large',
    attack: shell((entries) => written(entries, 2n ** 32n)),
  },
  {
    name: 'A wrapper nested a thousand deep',
    threat: 'NET.ONPATH',
    built: 'the authentication wrapper holds a thousand arrays inside each other',
    refusal: 'envelope-too-large',
    attack: withEntry(0, { value: bytes(nested(1000)) }),
  },
  {
    name: 'A manifest too large to hold',
    threat: 'NET.ONPATH',
    built: 'the manifest is padded to 70 000 bytes',
    refusal: 'envelope-too-large',
    attack: withEntry(1, { value: bytes(new Uint8Array(70_000)) }),
  },
  {
    name: 'A part that nobody defined',
    threat: 'MFST.OVERRIDE',
    built: 'an element with the unassigned key 40 is put into the shell',
    refusal: 'envelope-element-unknown',
    attack: shell((entries) =>
      written([entries[0]!, entries[1]!, { key: encode(40), value: bytes(new Uint8Array(1)) }]),
    ),
  },
  {
    name: 'No wrapper',
    threat: 'IMG.NON_AUTH',
    built: 'the authentication wrapper is left out',
    refusal: 'envelope-incomplete',
    attack: shell((entries) => written(entries.slice(1))),
  },
  {
    name: 'No manifest',
    threat: 'NET.ONPATH',
    built: 'the manifest is left out',
    refusal: 'envelope-incomplete',
    attack: shell((entries) => written(entries.filter((_, i) => i !== 1))),
  },
  {
    name: 'The manifest before its wrapper',
    threat: 'MFST.TOCTOU',
    built: 'the manifest stands before the wrapper that is to vouch for it',
    refusal: 'wrapper-after-manifest',
    attack: shell((entries) => written([entries[1]!, entries[0]!, ...entries.slice(2)])),
  },
  {
    name: 'A digest that units do not compute',
    threat: 'IMG.NON_AUTH',
    built: 'the manifest is named by SHA-384 in place of SHA-256',
    refusal: 'digest-algorithm-unknown',
    attack: dismantled(() => ({ digest: encode([SHA_384, new Uint8Array(48)]) })),
  },
  {
    name: 'A weaker digest under the same bytes',
    threat: 'IMG.NON_AUTH',
    built: 'the digest keeps its 32 bytes and is called SHAKE128',
    refusal: 'digest-algorithm-unknown',
    attack: dismantled(({ digest }) => ({ digest: encode([SHAKE_128, digest.slice(-32)]) })),
  },
  {
    name: 'One bit of the manifest',
    threat: 'NET.ONPATH',
    built: 'the last bit of the manifest is changed',
    refusal: 'manifest-digest-wrong',
    attack: dismantled(({ manifest }) => ({ manifest: oneBit(manifest, -1) })),
  },
  {
    name: 'A higher number written into the manifest',
    threat: 'IMG.EXPIRED',
    built: 'the sequence number is raised by one, to make an old release look new',
    refusal: 'manifest-digest-wrong',
    attack: dismantled((parts) => {
      const draft = new Draft(parts);
      draft.number += 1n;
      return { manifest: draft.write() };
    }),
  },
  {
    name: 'Another place to fetch from',
    threat: 'NET.REDIRECT',
    built: 'every URI in the manifest is replaced by that of somebody else',
    refusal: 'manifest-digest-wrong',
    attack: dismantled((parts) => {
      const draft = new Draft(parts);
      draft.parameter(21, () => 'https://elsewhere.example/image');
      return { manifest: draft.write(), severed: parts.severed, integrated: parts.integrated };
    }),
  },
  {
    name: 'A manifest and its digest, the seal kept',
    threat: 'MFST.MODIFICATION',
    built: 'the sequence number is raised and the digest renewed; the blocks stay',
    where: ['asymmetric'],
    refusal: 'signature-wrong',
    attack: dismantled((parts) => renumbered(parts)),
  },
  {
    name: 'A manifest and its digest, the MAC kept',
    threat: 'MFST.MODIFICATION',
    built: 'the sequence number is raised and the digest renewed; the blocks stay',
    where: ['symmetric'],
    refusal: 'mac-wrong',
    attack: dismantled((parts) => renumbered(parts)),
  },
];

function renumbered(parts: Parts): Partial<Parts> {
  const draft = new Draft(parts);
  draft.elements.set(ELEMENT.number, draft.number + 1n);
  const manifest = draft.write();
  return { manifest, digest: sealedDigest(manifest) };
}
