/** Trust anchors (RFC 5280 section 6.1.1 (d)): an authority's name and key, held by the one who judges. */
import { equal } from '../bytes/index.ts';
import type { CertificateAlgorithm } from './algorithm.ts';
import type { Certificate } from './certificate.ts';
import { signatureFinding } from './link.ts';
import { type Name, parseName, sameName } from './name.ts';
import type { Finding } from './path-refusal.ts';

/** `name`: DER Name. `spki`: DER SubjectPublicKeyInfo. The dates of the anchor's own certificate do not count. */
export interface Anchor {
  readonly name: Uint8Array;
  readonly spki: Uint8Array;
}

const names = new WeakMap<Anchor, Name | undefined>();

type Search<A> =
  | { readonly anchor: A; readonly index: number }
  | { readonly finding: Finding; readonly index: number };

/**
 * The first certificate from the signer up that an anchor signed, its signature verified. Names only select:
 * each anchor of the issuer's name is tried, and the signature decides.
 */
export function findAnchor<A extends Anchor>(
  chain: readonly Certificate[],
  anchors: readonly A[],
  algorithms: readonly CertificateAlgorithm[],
): Search<A> {
  let failed: { finding: Finding; index: number } | undefined;
  for (const [index, certificate] of chain.entries()) {
    for (const anchor of anchors) {
      if (!isNamed(anchor, certificate.issuer)) continue;
      const finding = signatureFinding(certificate, anchor.spki, algorithms);
      if (!finding) return { anchor, index };
      failed ??= { finding, index };
    }
    const gap = gapAbove(certificate, chain[index + 1]);
    if (gap) return failed ?? { finding: gap, index };
  }
  throw new TypeError('a chain has at least one certificate');
}

// Why the search ends at a certificate: there is none above it, or one that is not its issuer.
function gapAbove({ issuer }: Certificate, above: Certificate | undefined): Finding | undefined {
  if (!above) return { code: 'anchor-unknown', detail: `issuer ${issuer.text}` };
  if (sameName(above.subject, issuer)) return undefined;
  return { code: 'issuer-mismatch', detail: `issuer ${issuer.text}, above it ${above.subject.text}` };
}

function isNamed(anchor: Anchor, issuer: Name): boolean {
  if (equal(anchor.name, issuer.der)) return true;
  const name = nameOf(anchor);
  return name !== undefined && sameName(name, issuer);
}

// An anchor is locked: its name is read once. Undefined where it is no Name.
function nameOf(anchor: Anchor): Name | undefined {
  if (!names.has(anchor)) names.set(anchor, readable(anchor.name));
  return names.get(anchor);
}

function readable(der: Uint8Array): Name | undefined {
  try {
    return parseName(der);
  } catch {
    return undefined;
  }
}
