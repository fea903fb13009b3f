/** Throwaway authorities with certificates: one signer, or several of whom a unit's policy asks for some. */
import { concat } from '../../../src/bytes/index.ts';
import { LABEL, signStructure1 } from '../../../src/cose/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import { type Certificate, ecdsaFromRaw, issuerOf } from '../../../src/x509/index.ts';
import { scopeOf, VENT } from '../../../test/unit/maker.ts';
import { issue, named } from '../../../test/x509/support.ts';
import { type DerNode, writeDer } from '../der-tree.ts';
import {
  type Authority,
  type Header,
  message,
  protectedHeaders,
  SIGN1,
  versionHeaders,
} from './authority.ts';
import { type SignerType, type ThrowawayKey, throwawayKey } from './keys.ts';

/** One who signs. */
export interface Hand {
  readonly type: SignerType;
  readonly role?: string | undefined;
  readonly key: ThrowawayKey;
  readonly certificate: Certificate;
}

/** Root, intermediate and signers, each with its key. */
export interface CertificateAuthority extends Authority {
  readonly root: Certificate;
  /** First signer first. */
  readonly chain: readonly Certificate[];
  readonly hands: readonly Hand[];
  /** A block over an encoded digest: under the certificate of `named`, signed by the key of `by`. */
  blockOf(named: Hand, by: Hand, digest: Uint8Array, securityVersion: number): Uint8Array;
  /** The hand with other certificates: for its own key, in the role of each other hand. */
  inOtherRoles(hand: Hand): readonly Hand[];
  /** The certificate at `index` of the chain, whatever it says now, signed anew by its issuer's key. */
  recertify(index: number, certificate: DerNode): DerNode;
}

/** Who signs, and how many of them a unit asks for; which ones sign, the digest decides. */
export interface Hands {
  readonly hands: readonly { readonly type: SignerType; readonly role?: string }[];
  readonly needed: number;
  /** The class that their certificates name; the vent controller where absent. */
  readonly classId?: Uint8Array;
  /** What tells their keys from others. */
  readonly words?: string;
}

/** An authority whose root and intermediate are of `type`; always the same keys, and names of Hollin Ridge, an invented maker. */
export async function certificateAuthority(
  type: SignerType,
  { hands: asked, needed, classId = VENT, words: prefix = '' }: Hands = { hands: [{ type }], needed: 1 },
): Promise<CertificateAuthority> {
  const keyOf = (of: SignerType, words: string) => throwawayKey(of, `${prefix}${words}`);
  const [rootKey, intermediateKey] = [keyOf(type, 'root'), keyOf(type, 'intermediate')];
  const root = await issue({ profile: 'root', publicKey: rootKey.spki, notAfter: null }, testKey(rootKey));
  const intermediate = await issue(
    { profile: 'intermediate', publicKey: intermediateKey.spki, issuer: issuerOf(root) },
    testKey(rootKey),
  );
  const certified = (hand: Omit<Hand, 'certificate'>) =>
    signerUnder(intermediate, intermediateKey, hand, classId);
  const hands: Hand[] = [];
  for (const hand of asked) {
    const words = hand.role === undefined ? 'signer' : `signer, ${hand.role}`;
    hands.push(await certified({ ...hand, key: keyOf(hand.type, words) }));
  }
  const inRoles = new Map<string | undefined, readonly Hand[]>();
  for (const own of hands) {
    const others = hands.filter((each) => each !== own);
    inRoles.set(own.role, await Promise.all(others.map(({ role }) => certified({ ...own, role }))));
  }
  const open = (hand: Hand): Header[] => [[LABEL.x5chain, [hand.certificate.der, intermediate.der]]];
  const issuers = [intermediateKey, rootKey];
  const authority: CertificateAuthority = {
    type: hands[0]!.type,
    root,
    chain: [hands[0]!.certificate, intermediate],
    hands,
    blocks(digest, securityVersion) {
      const first = digest.at(-1)! % hands.length;
      const signing = Array.from({ length: needed }, (_, i) => hands[(first + i) % hands.length]!);
      return signing.map((hand) => authority.blockOf(hand, hand, digest, securityVersion));
    },
    blockOf(named, by, digest, securityVersion) {
      const headers = protectedHeaders(named.type, [thumbprint(named), ...versionHeaders(securityVersion)]);
      return message(SIGN1, headers, open(named), null, by.key.sign(signStructure1(headers, digest)));
    },
    around(payload, contentType) {
      const [hand] = hands;
      const headers = protectedHeaders(hand!.type, [[LABEL.contentType, contentType], thumbprint(hand!)]);
      return message(SIGN1, headers, open(hand!), payload, authority.seal(headers, payload));
    },
    seal(protectedBytes, payload, { externalAad, block = 0 } = {}) {
      const { key } = namedIn(protectedBytes, hands) ?? hands[block % hands.length]!;
      return key.sign(signStructure1(protectedBytes, payload, externalAad));
    },
    inOtherRoles: ({ role }) => inRoles.get(role)!,
    recertify: (index, certificate) => recertified(certificate, issuers[index]!, type),
  };
  return authority;
}

function thumbprint({ certificate }: Hand): Header {
  return [LABEL.x5t, [-16, sha256(certificate.der)]];
}

/** The hand whose certificate these headers name. */
function namedIn(protectedBytes: Uint8Array, hands: readonly Hand[]): Hand | undefined {
  if (hands.length === 1) return hands[0];
  return hands.find(({ certificate }) =>
    Buffer.from(protectedBytes).includes(Buffer.from(sha256(certificate.der))),
  );
}

async function signerUnder(
  intermediate: Certificate,
  issuerKey: ThrowawayKey,
  hand: Omit<Hand, 'certificate'>,
  classId: Uint8Array,
): Promise<Hand> {
  const certificate = await issue(
    {
      profile: 'signer',
      publicKey: hand.key.spki,
      subject: named('line 1'),
      issuer: issuerOf(intermediate),
      scopes: [scopeOf(classId)],
      role: hand.role,
    },
    testKey(issuerKey),
  );
  return { ...hand, certificate };
}

/** As the makers of test certificates want a key. */
function testKey({ spki, sign }: ThrowawayKey) {
  return { spki, sign: async (tbs: Uint8Array) => sign(tbs), privateKey: undefined as never };
}

function recertified(certificate: DerNode, key: ThrowawayKey, type: SignerType): DerNode {
  const [tbs, algorithm, signature] = certificate.children;
  if (!tbs || !algorithm || !signature) return certificate;
  const raw = key.sign(writeDer(tbs));
  const value = type === 'p256' ? ecdsaFromRaw(raw) : raw;
  const bits = {
    ...signature,
    children: [],
    prefix: new Uint8Array(),
    content: concat(Uint8Array.of(0), value),
  };
  return { ...certificate, children: [tbs, algorithm, bits, ...certificate.children.slice(3)] };
}
