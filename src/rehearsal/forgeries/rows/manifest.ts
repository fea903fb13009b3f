/** Step 4: manifests that are well sealed and say what no unit understands, or what their signer may not say. */
import { concat } from '../../../bytes/index.ts';
import { type CborValue, encode, encodeHead } from '../../../cbor/index.ts';
import { type Draft, ELEMENT, type Pairs } from '../draft.ts';
import { type Attack, dismantled, type Forgery, resealed, resealedBytes } from '../forgery.ts';

const TRY_EACH = 15;
const COSWID = 14;
const UNINSTALL = 24;
const SHA_512 = -44;

/** More commands at the end of the section that installs. */
const installingAlso = (...pairs: Pairs): Attack =>
  resealed((draft) => {
    const key = draft.elements.has(ELEMENT.install) ? ELEMENT.install : ELEMENT.fetch;
    draft.setSection(key, [...draft.section(key), ...pairs]);
  });

const parametersAlso = (code: number, value: CborValue): Attack =>
  resealed((draft) => draft.parameters((parameters) => parameters.set(code, value)));

const element = (key: number, value: CborValue): Attack =>
  resealed((draft) => {
    draft.elements.set(key, value);
  });

/** The manifest written in another way that says the same. */
const writtenAs = (write: (entries: Uint8Array, count: number) => Uint8Array): Attack =>
  resealedBytes((manifest) => write(manifest.subarray(1), manifest[0]! & 0x1f));

function nestedBranches(depth: number): Uint8Array {
  return depth === 0 ? encode([3, 15]) : encode([TRY_EACH, [nestedBranches(depth - 1), encode([14, 15])]]);
}

export const MANIFEST_ROWS: readonly Forgery[] = [
  {
    name: 'A manifest of the next version',
    threat: 'IMG.FORMAT',
    built: 'the encoding version says 2',
    refusal: 'manifest-version-unknown',
    attack: element(ELEMENT.version, 2),
  },
  {
    name: 'A negative sequence number',
    threat: 'IMG.EXPIRED',
    built: 'the sequence number is -1, the highest there is for who reads it without a sign',
    refusal: 'manifest-malformed',
    attack: element(ELEMENT.number, -1),
  },
  {
    name: 'A sequence number beyond 64 bits',
    threat: 'IMG.EXPIRED',
    built: 'the sequence number is a byte string of nine bytes',
    refusal: 'manifest-malformed',
    attack: element(ELEMENT.number, new Uint8Array(9).fill(0xff)),
  },
  {
    name: 'An element twice in the manifest',
    threat: 'MFST.TOCTOU',
    built: 'the manifest holds its sequence number twice, the second one higher',
    refusal: 'manifest-malformed',
    attack: writtenAs((entries, count) =>
      concat(encodeHead(5, count + 1), entries.subarray(0, 2), Uint8Array.of(2, 0x17), entries.subarray(2)),
    ),
  },
  {
    name: 'A manifest of unstated length',
    threat: 'IMG.FORMAT',
    built: 'the map of the manifest is written with indefinite length',
    refusal: 'manifest-malformed',
    attack: writtenAs((entries) => concat(Uint8Array.of(0xbf), entries, Uint8Array.of(0xff))),
  },
  {
    name: 'A number written longer than it is',
    threat: 'IMG.FORMAT',
    built: 'the encoding version takes two bytes',
    refusal: 'manifest-malformed',
    attack: writtenAs((entries, count) =>
      concat(encodeHead(5, count), Uint8Array.of(1, 0x18, 1), entries.subarray(2)),
    ),
  },
  {
    name: 'Something behind the manifest',
    threat: 'IMG.EXTRA',
    built: 'a byte is appended to the manifest inside its byte string',
    refusal: 'manifest-malformed',
    attack: resealedBytes((manifest) => concat(manifest, new Uint8Array(1))),
  },
  {
    name: 'Branches nested a hundred deep',
    threat: 'NET.ONPATH',
    built: 'the section that installs tries a branch within a branch, a hundred times',
    refusal: 'manifest-malformed',
    attack: installingAlso(TRY_EACH, [nestedBranches(100)]),
  },
  {
    name: 'A section of odd length',
    threat: 'IMG.FORMAT',
    built: 'the last command of the section that installs has no argument',
    refusal: 'manifest-malformed',
    attack: installingAlso(3),
  },
  {
    name: 'No component at all',
    threat: 'IMG.LOCATION',
    built: 'the list of components is empty',
    refusal: 'manifest-malformed',
    attack: resealed((draft) => {
      draft.components = [];
    }),
  },
  {
    name: 'An element that nobody defined',
    threat: 'MFST.OVERRIDE',
    built: 'an element with the unassigned key 60 is put into the manifest',
    refusal: 'manifest-element-unknown',
    attack: element(60, new Uint8Array(1)),
  },
  {
    name: 'An order to uninstall',
    threat: 'MFST.OVERRIDE',
    built: 'the manifest brings an uninstall section, which would leave the unit without firmware',
    where: ['no dependencies'],
    refusal: 'manifest-element-unsupported',
    attack: element(UNINSTALL, encode([33, 0])),
  },
  {
    name: 'A command that nobody defined',
    threat: 'IMG.FORMAT',
    built: 'command 99 stands behind the fetch',
    refusal: 'command-unknown',
    attack: installingAlso(99, 0),
  },
  {
    name: 'A maker’s own command',
    threat: 'MFST.OVERRIDE',
    built: 'command -300 stands behind the fetch',
    refusal: 'command-unknown',
    attack: installingAlso(-300, 0),
  },
  {
    name: 'An unknown command where it would never run',
    threat: 'IMG.FORMAT',
    built: 'command 99 stands in the second branch of a choice whose first one holds',
    refusal: 'command-unknown',
    attack: installingAlso(TRY_EACH, [encode([3, 15]), encode([99, 0])]),
  },
  {
    name: 'An order to swap two places',
    threat: 'IMG.REPLACE',
    built: 'the section that installs swaps the image with what runs, which no unit does',
    refusal: 'command-unsupported',
    attack: installingAlso(31, 0),
  },
  {
    name: 'A fetch before anybody asked whom it is for',
    threat: 'IMG.INCOMPATIBLE',
    built: 'a fetch stands in the shared sequence, before the conditions',
    refusal: 'command-misplaced',
    attack: resealed((draft) => {
      draft.shared = [21, 2, ...draft.shared];
    }),
  },
  {
    name: 'A parameter that nobody defined',
    threat: 'IMG.FORMAT',
    built: 'parameter 77 is set beside the others',
    refusal: 'parameter-unknown',
    attack: parametersAlso(77, 1),
  },
  {
    name: 'A parameter that units do not act on',
    threat: 'MFST.OVERRIDE',
    built: 'metadata of a file is set beside the others, on units that have no files',
    refusal: 'parameter-unsupported',
    attack: parametersAlso(30, new Uint8Array(4)),
  },
  {
    name: 'Two places and no word which',
    threat: 'IMG.LOCATION',
    built: 'a second component is added and no command says which one is meant',
    refusal: 'component-index-missing',
    attack: resealed((draft) => {
      withoutIndices(draft);
      if (draft.components.length === 1) draft.components = [...draft.components, [encode('second')]];
    }),
  },
  {
    name: 'An image named by a digest that units do not compute',
    threat: 'IMG.NON_AUTH',
    built: 'every image is named by SHA-512',
    refusal: 'manifest-digest-algorithm-unknown',
    attack: resealed((draft) => {
      draft.parameter(3, () => encode([SHA_512, new Uint8Array(64)]));
    }),
  },
  {
    name: 'A severed part that nobody severed',
    threat: 'MFST.OVERRIDE',
    built: 'the envelope brings a part whose digest the manifest does not hold',
    refusal: 'severed-part-unexpected',
    attack: dismantled(({ severed }) => ({
      severed: new Map(severed).set(COSWID, encode(new Uint8Array(1))),
    })),
  },
  {
    name: 'A component that the signers have no right to',
    threat: 'UPD.UNAPPROVED',
    built: 'the payload as it is, to a unit whose rights name another component',
    where: ['asymmetric'],
    refusal: 'component-not-permitted',
    attack: resealed(() => {}, {}, { record: { rights: [{ components: ['radio'] }] } }),
  },
  {
    name: 'A command that the signers may not give',
    threat: 'UPD.UNAPPROVED',
    built: 'the payload as it is, to a unit that lets its signers do everything but fetch and copy',
    where: ['asymmetric'],
    refusal: 'command-not-permitted',
    attack: resealed(() => {}, {}, { record: { rights: [{ commands: ['invoke', 'unlink'] }] } }),
  },
];

function withoutIndices(draft: Draft): void {
  draft.commands((code, argument) => (code === 12 ? [] : [code, argument]));
}
