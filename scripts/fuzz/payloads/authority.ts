/** The throwaway authorities: who may seal for the units of the fuzz run, and what is sealed again after a mutation. */
import { concat } from '../../../src/bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../../src/cbor/index.ts';
import { LABEL, macStructure0, signStructure1 } from '../../../src/cose/index.ts';
import { hmacSha256, sha256 } from '../../../src/crypto/index.ts';
import { SECURITY_VERSION_LABEL } from '../../../src/unit/index.ts';
import { type Certificate, ecdsaFromRaw, issuerOf } from '../../../src/x509/index.ts';
import { scopeOf, VENT } from '../../../test/unit/maker.ts';
import { issue, named } from '../../../test/x509/support.ts';
import { changeAt, changeValue, type Node, valueAt, withChildren, write } from '../cbor-tree.ts';
import { type DerNode, writeDer } from '../der-tree.ts';
import { type SignerType, type ThrowawayKey, throwawayKey } from './keys.ts';

/** One way of sealing that some units take. */
export interface Authority {
  readonly type: SignerType | 'hmac';
  /** A block over an encoded digest, with this security version where it is not 0. */
  block(digest: Uint8Array, securityVersion: number): Uint8Array;
  /** The signature or tag for a block with these protected headers. */
  seal(protectedBytes: Uint8Array, payload: Uint8Array, externalAad?: Uint8Array): Uint8Array;
}

/** Root, intermediate and signer, each with its key. */
export interface CertificateAuthority extends Authority {
  readonly root: Certificate;
  /** Signer first. */
  readonly chain: readonly Certificate[];
  /** The certificate at `index` of the chain, whatever it says now, signed anew by its issuer's key. */
  recertify(index: number, certificate: DerNode): DerNode;
}

const ALGORITHMS = { p256: -9, ed25519: -19, hmac: 5 } as const;
const SIGN1 = 18;
const MAC0 = 17;

/** Key id and class key of the symmetric scheme. TEST KEY. */
export const FUZZ_CLASS_KEY = { id: Uint8Array.of(0xf0, 0x22), key: sha256(Uint8Array.of(0xf0)) };

export const macAuthority: Authority = {
  type: 'hmac',
  seal: (protectedBytes, payload, externalAad) =>
    hmacSha256(FUZZ_CLASS_KEY.key, macStructure0(protectedBytes, payload, externalAad)),
  block(digest, securityVersion) {
    const headers = protectedHeaders('hmac', [], securityVersion);
    return message(MAC0, headers, [[LABEL.kid, FUZZ_CLASS_KEY.id]], this.seal(headers, digest));
  },
};

/** An authority with certificates; always the same keys, and names of Hollin Ridge, an invented maker. */
export async function certificateAuthority(type: SignerType): Promise<CertificateAuthority> {
  const keys = ['root', 'intermediate', 'signer'].map((words) => throwawayKey(type, words));
  const [rootKey, intermediateKey, signerKey] = keys as [ThrowawayKey, ThrowawayKey, ThrowawayKey];
  const root = await issue({ profile: 'root', publicKey: rootKey.spki, notAfter: null }, testKey(rootKey));
  const intermediate = await issue(
    { profile: 'intermediate', publicKey: intermediateKey.spki, issuer: issuerOf(root) },
    testKey(rootKey),
  );
  const signer = await issue(
    {
      profile: 'signer',
      publicKey: signerKey.spki,
      subject: named('line 1'),
      issuer: issuerOf(intermediate),
      scopes: [scopeOf(VENT)],
    },
    testKey(intermediateKey),
  );
  const chain = [signer, intermediate];
  const issuers = [intermediateKey, rootKey];
  const seal: Authority['seal'] = (protectedBytes, payload, externalAad) =>
    signerKey.sign(signStructure1(protectedBytes, payload, externalAad));
  return {
    type,
    root,
    chain,
    seal,
    block(digest, securityVersion) {
      const headers = protectedHeaders(type, [[LABEL.x5t, [-16, sha256(signer.der)]]], securityVersion);
      const open: [CborValue, CborValue][] = [[LABEL.x5chain, chain.map(({ der }) => der)]];
      return message(SIGN1, headers, open, seal(headers, digest));
    },
    recertify: (index, certificate) => recertified(certificate, issuers[index]!, type),
  };
}

/** As the makers of test certificates want a key. */
function testKey({ spki, sign }: ThrowawayKey) {
  return { spki, sign: async (tbs: Uint8Array) => sign(tbs), privateKey: undefined as never };
}

function protectedHeaders(
  type: Authority['type'],
  more: [CborValue, CborValue][],
  securityVersion: number,
): Uint8Array {
  const version: [CborValue, CborValue][] =
    securityVersion === 0 ? [] : [[SECURITY_VERSION_LABEL, securityVersion]];
  return encode(new CborMap([[LABEL.alg, ALGORITHMS[type]], ...more, ...version]));
}

function message(
  tag: number,
  headers: Uint8Array,
  open: [CborValue, CborValue][],
  seal: Uint8Array,
): Uint8Array {
  return encode(new CborTag(tag, [headers, new CborMap(open), null, seal]));
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

const WRAPPER = 2;
const MANIFEST = 3;

/**
 * Seals a changed envelope again as its authority would: digest of the manifest that is there, and a fresh signature or tag
 * in each block under the protected headers that are there. Parts that a mutation took away stay away.
 */
export function resealed(
  tree: Node,
  authority: Authority,
): { readonly tree: Node; readonly digest: Uint8Array } {
  const manifest = valueAt(tree, MANIFEST);
  const digest = sha256(manifest ? write(manifest) : new Uint8Array());
  const sealedTree = changeValue(tree, WRAPPER, (wrapper) => {
    const withDigest = changeAt(wrapper, [0, 0, 0, 1], () => ({ kind: 'bytes', value: digest }));
    const payload = contentOf(withDigest.kind === 'wrapped' ? childAt(withDigest, [0, 0]) : undefined);
    const blocks = childAt(withDigest, [0]);
    if (blocks?.kind !== 'array') return withDigest;
    const children = blocks.children.map((block, i) =>
      i === 0 ? block : resealedBlock(block, payload, authority),
    );
    return changeAt(withDigest, [0], () => withChildren(blocks, children));
  });
  return { tree: sealedTree, digest };
}

function resealedBlock(block: Node, payload: Uint8Array, authority: Authority): Node {
  const parts = childAt(block, [0, 0]);
  if (parts?.kind !== 'array' || parts.children.length < 4) return block;
  const seal = authority.seal(protectedAsSigned(parts.children[0]), payload);
  return changeAt(block, [0, 0, 3], () => ({ kind: 'bytes', value: seal }));
}

/** An empty map enters as an empty string (RFC 9052 section 4.4). */
function protectedAsSigned(node: Node | undefined): Uint8Array {
  const bytes = contentOf(node);
  return bytes.length === 1 && bytes[0] === 0xa0 ? new Uint8Array() : bytes;
}

function childAt(node: Node, path: readonly number[]): Node | undefined {
  return path.reduce<Node | undefined>(
    (each, i) => (each && 'children' in each ? each.children[i] : undefined),
    node,
  );
}

/** The content of a byte string, opened or not. */
function contentOf(node: Node | undefined): Uint8Array {
  if (node?.kind === 'wrapped') return concat(...node.children.map(write));
  return node?.kind === 'bytes' ? node.value : new Uint8Array();
}
