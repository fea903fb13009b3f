/** The classes of attack, one row each. */
import { sha256 } from '../../../src/crypto/index.ts';
import { unitFileLayout } from '../../../src/unit/index.ts';
import { OTHER_CLASS } from '../../../test/unit/maker.ts';
import { mutateBytes } from '../byte-mutation.ts';
import { mutateTree } from '../cbor-mutation.ts';
import {
  changeAt,
  changeValue,
  childrenOf,
  type Node,
  treeOf,
  valueAt,
  withChildren,
  write,
} from '../cbor-tree.ts';
import { derTreeOf, mutateDer, writeDer } from '../der-tree.ts';
import type { Random } from '../random.ts';
import { type Attack, type AttackClass, type Payload, payloadOf, placesWhere } from './attack.ts';
import type { CertificateAuthority } from './certified.ts';
import { deltaFor, sealDelta } from './deltas.ts';
import { otherDependency } from './dependency-attack.ts';
import { otherMessage } from './message-attack.ts';
import { KEPT_NUMBER, OFFERED_NUMBER, type Offer } from './offer.ts';
import { aloneAmongSeveral } from './policy-attack.ts';
import { resealed } from './resealed.ts';
import type { Rig } from './rig.ts';

const MANIFEST = '/3/<';
const inManifest = (name: string) => name.startsWith(MANIFEST);
const inShell = (name: string) => !inManifest(name) && !/^\/2\/<\/[0-9]+\/</.test(name);
const inDigest = (name: string) => name.startsWith('/2/</0');
const inSeal = (name: string) => /^\/2\/<\/[1-9]\/<\/[0-3]$/.test(name);
const inHeaders = (name: string) => /^\/2\/<\/[1-9]\/<\/[01]\b/.test(name);
const inCommands = (name: string) =>
  /^\/(?:3\/<\/)?(?:16|20|7|9)\/<\//.test(name) || name.startsWith(`${MANIFEST}/3/</4/<`);
const inSevered = (name: string) => /^\/(?:16|20|23)\b/.test(name) || /^\/3\/<\/(?:16|20|23)\b/.test(name);
const inIdentity = (name: string) => /^\/3\/<\/3\/<\/4\/<\/[0-9]+(?:\/(?:1|2|24)(?::key)?)?$/.test(name);
const inFit = (name: string) => /^\/3\/<\/(?:3\/<\/2\b|3\/<\/4\/<.*\/(?:3|14)\b|7\b|9\b)/.test(name);

/** A class that changes one part of the envelope's tree, once or a few times. */
const treeClass = (name: string, about: string, wanted: (name: string) => boolean): AttackClass => ({
  name,
  about,
  make(random, rig, insider) {
    const offer = random.pick(rig.offers);
    const places = placesWhere(offer, wanted);
    let tree = mutateTree(random, offer.tree, places, offer.places);
    if (random.chance(0.2)) tree = mutateTree(random, tree);
    return payloadOf(rig, offer, tree, insider);
  },
});

export const ATTACKS: readonly AttackClass[] = [
  { name: 'bytes', about: 'bytes anywhere in envelope or manifest', make: anyBytes },
  treeClass('structure', 'elements of the envelope: order, types, lengths, strangers', inShell),
  treeClass('digest', 'the digest in the wrapper', inDigest),
  { name: 'seal', about: 'the signature or tag, and what it is made over', make: otherSeal },
  {
    name: 'certificates',
    about: 'certificates, also certified again',
    fits: ({ record }) => record.scheme === 'asymmetric',
    make: otherCertificates,
  },
  {
    name: 'policy',
    about: 'one signer alone where several are asked for',
    fits: ({ record }) => record.authentication !== undefined,
    make: aloneAmongSeveral,
  },
  {
    name: 'message',
    about: 'encrypted messages around genuine envelopes',
    fits: ({ messenger }) => messenger !== undefined,
    outside: true,
    make: otherMessage,
  },
  treeClass('headers', 'COSE headers, protected and not', inHeaders),
  treeClass('manifest', 'everything in the manifest', inManifest),
  treeClass('commands', 'command sequences', inCommands),
  treeClass('severed', 'severed parts and their digests', inSevered),
  { name: 'freshness', about: 'sequence numbers and security versions', make: otherFreshness },
  { name: 'identity', about: 'vendor, class and unit', make: otherIdentity },
  { name: 'fit', about: 'components, digests, sizes, validation, invocation', make: otherFit },
  { name: 'image', about: 'the image, in the envelope or beside it', make: otherImage },
  {
    name: 'encryption',
    about: 'encrypted images, and how their key reaches the unit',
    fits: ({ encrypted }) => encrypted.length > 0,
    make: otherEncryption,
  },
  {
    name: 'delta',
    about: 'deltas, what is said of them, and what they are applied to',
    fits: ({ byDelta }) => byDelta.length > 0,
    make: otherDelta,
  },
  {
    name: 'dependency',
    about: "another maker's release inside a release, and who sealed which",
    fits: ({ radio }) => radio !== undefined,
    make: otherDependency,
  },
  {
    name: 'mixed',
    about: 'old releases, releases for others, and parts of several put together',
    make: mixed,
  },
  {
    name: 'flash-fails',
    about: 'flash that wears out or power that goes while a changed payload is installed',
    make: failing,
  },
  {
    name: 'stored',
    about: 'flash changed before the start of a new image',
    make: (...all) => tampered('ready', ...all),
  },
  {
    name: 'running',
    about: 'flash changed before a new image is kept',
    make: (...all) => tampered('on trial', ...all),
  },
];

function anyBytes(random: Random, rig: Rig, insider: boolean): Attack {
  const offer = random.pick(rig.offers);
  const { envelope, image, tree } = offer;
  if (!insider) return { kind: 'payload', envelope: mutateBytes(random, envelope), image, sealed: [] };
  const changed = changeValue(tree, 3, (manifest) => ({
    kind: 'bytes',
    value: mutateBytes(random, 'children' in manifest ? write(manifest.children[0]!) : new Uint8Array()),
  }));
  return payloadOf(rig, offer, changed, true);
}

/** Outsiders change the bytes; insiders sign the right thing in a wrong way. */
function otherSeal(random: Random, rig: Rig, insider: boolean): Attack {
  const offer = random.pick(rig.offers);
  const { tree, image } = offer;
  if (!insider) {
    const [place] = placesWhere(offer, inSeal).slice(-1);
    const change = (node: Node): Node =>
      node.kind === 'bytes' ? { kind: 'bytes', value: mutateBytes(random, node.value) } : node;
    return { kind: 'payload', envelope: write(changeAt(tree, place!.path, change)), image, sealed: [] };
  }
  const wrapper = valueAt(tree, 2)!;
  const parts = wrapper.kind === 'wrapped' ? wrapper.children[0] : undefined;
  const block = parts?.kind === 'array' ? parts.children[1] : undefined;
  const signed = wronglySealed(random, rig, block!, write(parts!), offer);
  const path = [0, 1, 0, 0, 3];
  const changed = changeValue(tree, 2, (node) =>
    changeAt(node, path, () => ({ kind: 'bytes', value: signed })),
  );
  return { kind: 'payload', envelope: write(changed), image, sealed: [], unsealed: true };
}

/** A seal by the right key: over other headers, with external data, over the manifest, its bare digest, or anything. */
function wronglySealed(
  random: Random,
  { authority }: Rig,
  block: Node,
  wrapper: Uint8Array,
  offer: Offer,
): Uint8Array {
  const payload = random.pick([
    wrapper,
    offer.manifestDigest,
    write(valueAt(offer.tree, 3)!),
    random.bytes(32),
  ]);
  const headers = random.pick([new Uint8Array(), write(block), random.bytes(8)]);
  const externalAad = random.chance(0.3) ? random.bytes(1 + random.below(4)) : undefined;
  return authority.seal(headers, payload, { externalAad });
}

const X5CHAIN = /^\/2\/<\/1\/<\/1\/33\/[01]$/;
const X5T = /^\/2\/<\/1\/<\/0\/<\/34\/1$/;
const isCertificate = (name: string) => X5CHAIN.test(name);
const isThumbprint = (name: string) => X5T.test(name);

function otherCertificates(random: Random, rig: Rig, insider: boolean): Attack {
  const authority = rig.authority as CertificateAuthority;
  const offer = random.pick(rig.offers);
  const index = random.below(2);
  const place = placesWhere(offer, isCertificate)[index]!;
  const changed = mutateDer(random, derTreeOf(authority.chain[index]!.der)!);
  const der = writeDer(insider ? authority.recertify(index, changed) : changed);
  let tree = changeAt(offer.tree, place.path, () => ({ kind: 'bytes', value: der }));
  if (index === 0 && random.chance(0.9)) {
    const [thumbprint] = placesWhere(offer, isThumbprint);
    tree = changeAt(tree, thumbprint!.path, () => ({ kind: 'bytes', value: sha256(der) }));
  }
  return payloadOf(rig, offer, tree, insider);
}

const isNumber = (name: string) => name === `${MANIFEST}/2`;
const isSecurityVersion = (name: string) => /^\/2\/<\/1\/<\/0\/<\/-70001$/.test(name);

function otherFreshness(random: Random, rig: Rig, insider: boolean): Attack {
  const offer = random.pick(rig.offers);
  const place = random.pick(placesWhere(offer, random.chance(0.8) ? isNumber : isSecurityVersion));
  const value = random.chance(0.8) ? BigInt(random.below(KEPT_NUMBER + 1)) : random.number();
  const tree = changeAt(offer.tree, place.path, () => ({ kind: 'int', value }));
  return payloadOf(rig, offer, tree, insider);
}

const isIdentifier = (name: string) => /^\/3\/<\/3\/<\/4\/<\/[0-9]+\/(?:1|2|24)$/.test(name);

/** Most of the time a whole identifier is another one, so that the conditions get to say no. */
function otherIdentity(random: Random, rig: Rig, insider: boolean): Attack {
  const offer = random.pick(rig.offers);
  if (random.chance(0.1)) {
    return payloadOf(
      rig,
      offer,
      mutateTree(random, offer.tree, placesWhere(offer, inIdentity), offer.places),
      insider,
    );
  }
  const { path } = random.pick(placesWhere(offer, isIdentifier));
  const value = random.chance(0.5) ? OTHER_CLASS : random.bytes(16);
  return payloadOf(
    rig,
    offer,
    changeAt(offer.tree, path, () => ({ kind: 'bytes', value })),
    insider,
  );
}

const isComponent = (name: string) => name === `${MANIFEST}/3/</2/0/0`;
const isSize = (name: string) => /^\/3\/<\/3\/<\/4\/<.*\/14$/.test(name);

/** Most of the time one thing that does not fit: a place, a size, or no way to validate or start. */
function otherFit(random: Random, rig: Rig, insider: boolean): Attack {
  const offer = random.pick(rig.offers);
  const { tree } = offer;
  const change = (wanted: (name: string) => boolean, node: Node) =>
    changeAt(tree, random.pick(placesWhere(offer, wanted)).path, () => node);
  switch (random.below(12)) {
    case 0:
      return payloadOf(
        rig,
        offer,
        mutateTree(random, tree, placesWhere(offer, inFit), offer.places),
        insider,
      );
    case 1:
      return payloadOf(
        rig,
        offer,
        change(isComponent, { kind: 'bytes', value: random.bytes(random.below(9)) }),
        insider,
      );
    case 2:
      return payloadOf(rig, offer, withoutKey(tree, random.pick([7, 9])), insider);
    default: {
      const value = random.chance(0.2) ? 0n : 1024n + random.number();
      return payloadOf(rig, offer, change(isSize, { kind: 'int', value }), insider);
    }
  }
}

/** The envelope with one element of its manifest left out. */
function withoutKey(tree: Node, key: number): Node {
  return changeValue(tree, 3, (manifest) =>
    changeAt(manifest, [0], (map) => {
      const children = childrenOf(map);
      const at = children.findIndex(
        (each, i) => i % 2 === 0 && each.kind === 'int' && each.value === BigInt(key),
      );
      return at < 0 ? map : withChildren(map, children.toSpliced(at, 2));
    }),
  );
}

const isImage = (name: string) => name === '/text';

/** The manifest stays; an insider's seal on it is as good as the genuine one. */
function otherImage(random: Random, rig: Rig, insider: boolean): Attack {
  const offer = random.pick(rig.offers);
  const change = random.chance(0.5) ? sameLength : mutateBytes;
  const places = placesWhere(offer, isImage);
  const image = offer.image && change(random, offer.image);
  const tree = places.reduce(
    (now, { path, node }) =>
      changeAt(now, path, () => ({ kind: 'bytes', value: change(random, bytesOf(node)) })),
    offer.tree,
  );
  return { ...payloadOf(rig, offer, tree, insider), image };
}

function sameLength(random: Random, bytes: Uint8Array): Uint8Array {
  const copy = bytes.slice();
  copy[random.below(copy.length)]! ^= 1 + random.below(255);
  return copy;
}

const bytesOf = (node: Node): Uint8Array => (node.kind === 'bytes' ? node.value : new Uint8Array());

const inEncryption = (name: string) => /^\/3\/<\/.*\/19(?:\/|$)/.test(name);
const inInstall = (name: string) => name.startsWith(`${MANIFEST}/20`);

/** The encryption info, the ciphertext, or what is done with both. */
function otherEncryption(random: Random, rig: Rig, insider: boolean): Attack {
  const offer = random.pick(rig.encrypted);
  const [image] = placesWhere(offer, isImage);
  if (random.chance(0.3)) {
    const change = random.chance(0.5) ? sameLength : mutateBytes;
    const tree = changeAt(offer.tree, image!.path, (node) => ({
      kind: 'bytes',
      value: change(random, bytesOf(node)),
    }));
    return payloadOf(rig, offer, tree, insider);
  }
  const places = placesWhere(offer, random.chance(0.7) ? inEncryption : inInstall);
  return payloadOf(rig, offer, mutateTree(random, offer.tree, places, offer.places), insider);
}

/** How many different ones there are. */
const DELTAS = 100;

/** An insider seals deltas that nobody made, so that they get as far as being applied. */
function otherDelta(random: Random, rig: Rig, insider: boolean): Attack {
  const seed = random.below(DELTAS);
  if (insider && random.chance(0.6)) {
    const sound = deltaFor(seed);
    const delta = mutateBytes(random, sound.delta);
    const image = random.chance(0.2) ? mutateBytes(random, sound.image) : sound.image;
    const offer = sealDelta(rig, { delta, image: image.length === 0 ? sound.image : image });
    return { kind: 'payload', envelope: offer.envelope, image: undefined, sealed: [offer.manifestDigest] };
  }
  const offer = random.pick(rig.byDelta);
  const [place] = placesWhere(offer, isImage);
  if (random.chance(0.3)) {
    const tree = changeAt(offer.tree, place!.path, (node) => ({
      kind: 'bytes',
      value: mutateBytes(random, bytesOf(node)),
    }));
    return payloadOf(rig, offer, tree, insider);
  }
  const tree = mutateTree(random, offer.tree, placesWhere(offer, inCommands), offer.places);
  return payloadOf(rig, offer, tree, insider);
}

/** Genuine envelopes at the wrong unit or time, and elements exchanged between them. */
function mixed(random: Random, rig: Rig, insider: boolean): Attack {
  const all = [...rig.offers, ...rig.others];
  const offer = random.pick(insider ? rig.offers : all);
  const other = random.pick(all);
  const key = random.pick([2, 3, 20, 23]);
  const replacement = valueAt(other.tree, key);
  const tree = replacement ? changeValue(offer.tree, key, () => replacement) : offer.tree;
  const image = random.chance(0.5) ? other.image : offer.image;
  const genuine = all.map(({ manifestDigest }) => manifestDigest);
  const payload = payloadOf(rig, offer, tree, insider);
  return { ...payload, image, sealed: [...payload.sealed, ...genuine.slice(0, rig.offers.length)] };
}

function failing(random: Random, rig: Rig, insider: boolean): Payload {
  const offer = random.pick(rig.offers);
  const value = BigInt(OFFERED_NUMBER) + BigInt(random.below(1000));
  const [number] = placesWhere(offer, isNumber);
  const tree = insider ? changeAt(offer.tree, number!.path, () => ({ kind: 'int', value })) : offer.tree;
  const payload = payloadOf(rig, offer, tree, insider);
  const kind = random.pick(['before', 'middle', 'after'] as const);
  if (random.chance(0.2)) return { ...payload, fault: { cut: { after: random.below(160), kind } } };
  return { ...payload, fault: { orders: random.chance(0.75) ? 'commit' : 'any' } };
}

/** What may be written over: the slots, the envelopes kept with them, the marks. */
function tampered(moment: 'ready' | 'on trial', random: Random, rig: Rig, insider: boolean): Attack {
  const { flashOffset, flash } = unitFileLayout(rig.record.memory);
  const running = rig.shape === 'staged' && moment === 'on trial' ? 0 : 1;
  const spans = [flash.slots[running], flash.envelopes[running], flash.envelopes[running], flash.state];
  const span = insider ? flash.envelopes[running] : random.pick(spans);
  const seed = random.next();
  return {
    kind: 'tampering',
    moment,
    change(bytes) {
      const area = bytes.subarray(flashOffset + span.offset, flashOffset + span.offset + span.size);
      if (insider) return void area.set(otherKept(random, rig).subarray(0, area.length));
      const used = Math.max(1, area.findLastIndex((byte) => byte !== 0xff && byte !== 0) + 1);
      const changes = 1 + (seed % 4);
      for (let i = 0; i < changes; i++) area[random.below(used)]! ^= 1 + random.below(255);
    },
  };
}

/** Another envelope that the unit's authority sealed, as a unit would keep it. */
function otherKept(random: Random, rig: Rig): Uint8Array {
  const offer = random.pick([...rig.offers, ...rig.others]);
  const bare = treeOf(offer.envelope)!;
  const inner = mutateTree(random, bare, placesWhere(offer, random.chance(0.5) ? inManifest : isNumber));
  return write(withoutPayloads(resealed(inner, rig.authority).tree));
}

function withoutPayloads(tree: Node): Node {
  if (tree.kind === 'tag')
    return { kind: 'tag', tag: tree.tag, children: tree.children.map(withoutPayloads) };
  if (tree.kind !== 'map') return tree;
  const pairs = tree.children.flatMap((key, i) => {
    const keep = i % 2 === 0 && key.kind === 'int' && (key.value === 2n || key.value === 3n);
    return keep ? [key, tree.children[i + 1]!] : [];
  });
  return { kind: 'map', children: pairs };
}
