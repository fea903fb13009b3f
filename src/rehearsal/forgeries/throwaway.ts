/** Keys and certificates that live for one rehearsal, in memory, and are then forgotten. */
import type { Signer } from '../../cose/index.ts';
import { signatureAlgorithm } from '../../cose/index.ts';
import { HssTrees, hssSpki, parseHssShape, randomBytes } from '../../crypto/index.ts';
import { generatePrivateKey, softwareSigner } from '../../keys/index.ts';
import {
  type Certificate,
  type CertificateDescription,
  issueCertificate,
  issuerOf,
  type Name,
  parseCertificate,
  writeName,
} from '../../x509/index.ts';

const HSS_LMS = -46;
const ED25519 = -19;
/** One-time leaves: for the signer that every row goes by, and for one of a single row, which is made within a moment. */
const MANY_LEAVES = 'H10/W4';
const FEW_LEAVES = 'H5/W4';
const YEAR = 365 * 24 * 3600 * 1000;

/** What a signer is, as far as a unit looks at it. */
export interface SignerLikeness {
  /** COSE id. */
  readonly algorithm: number;
  readonly subject: Name;
  readonly role: string | undefined;
  readonly scopes: readonly string[];
  readonly generation: number;
  readonly trial: boolean;
  /** Label of the root above it. */
  readonly anchor: string;
}

/** One who signs: a key, and its certificates, its own first. */
export interface Hand {
  readonly likeness: SignerLikeness;
  readonly signer: Signer;
  readonly certificates: readonly Certificate[];
}

/** A key with its certificate. */
export interface Certified {
  readonly signer: Signer;
  readonly certificate: Certificate;
}

/** A root, and the authority below it that certifies signers. */
export interface Line {
  readonly root: Certified;
  readonly intermediate: Certified;
}

/** A new key of an algorithm. `often`: it will sign for many rows. */
export function newSigner(algorithm = -9, often = false): Signer {
  if (algorithm === HSS_LMS) return hssSigner(often ? MANY_LEAVES : FEW_LEAVES);
  return softwareSigner(generatePrivateKey(algorithm === ED25519 ? 'ed25519' : 'p256'));
}

function hssSigner(shape: string): Signer {
  const trees = new HssTrees({ shape: parseHssShape(shape)!, master: randomBytes(32) });
  let leaf = 0n;
  return {
    algorithm: signatureAlgorithm(HSS_LMS)!,
    publicKey: hssSpki(trees.publicKey())!,
    sign: async (message) => trees.sign(leaf++, message),
  };
}

/** When throwaway certificates begin and end, around `now`. */
export function validAround(now: Date): { readonly notBefore: Date; readonly notAfter: Date } {
  return { notBefore: new Date(now.getTime() - YEAR), notAfter: new Date(now.getTime() + 10 * YEAR) };
}

/** The authority of one rehearsal. */
export class Throwaway {
  readonly lines: ReadonlyMap<string, Line>;
  readonly now: Date;

  private constructor(lines: ReadonlyMap<string, Line>, now: Date) {
    this.lines = lines;
    this.now = now;
  }

  /** Makes a root and an intermediate for each label, named alike where names are given. */
  static async make(
    roots: readonly { readonly label: string; readonly name?: Name }[],
    now: Date,
    trial: boolean,
  ): Promise<Throwaway> {
    const lines = new Map<string, Line>();
    for (const { label, name } of roots) lines.set(label, await makeLine(label, name, now, trial));
    return new Throwaway(lines, now);
  }

  /** The line of a root, or the first one. */
  line(label?: string): Line {
    return (label !== undefined && this.lines.get(label)) || [...this.lines.values()][0]!;
  }

  /** A signer like the one described, with `changes` to its certificate. `often`: it will sign for many rows. */
  async hand(
    likeness: SignerLikeness,
    changes: Partial<CertificateDescription> = {},
    often = false,
  ): Promise<Hand> {
    const { intermediate } = this.line(likeness.anchor);
    const signer = newSigner(likeness.algorithm, often);
    const { subject, role, scopes, generation, trial } = likeness;
    const certificate = await issue(intermediate.signer, {
      profile: 'signer',
      subject,
      publicKey: signer.publicKey,
      issuer: issuerOf(intermediate.certificate),
      scopes,
      generation,
      trial,
      ...(role === undefined ? {} : { role }),
      ...validAround(this.now),
      ...changes,
    });
    return { likeness, signer, certificates: [certificate, intermediate.certificate] };
  }
}

async function makeLine(label: string, name: Name | undefined, now: Date, trial: boolean): Promise<Line> {
  const root = newSigner();
  const rootCertificate = await issue(root, {
    profile: 'root',
    subject: name ?? writeName([['CN', label]]),
    publicKey: root.publicKey,
    trial: trial && name === undefined,
    ...validAround(now),
    notAfter: null,
  });
  const intermediate = newSigner();
  const certificate = await issue(root, {
    profile: 'intermediate',
    subject: writeName([['CN', `${label} intermediate`]]),
    publicKey: intermediate.publicKey,
    issuer: issuerOf(rootCertificate),
    trial,
    ...validAround(now),
  });
  return {
    root: { signer: root, certificate: rootCertificate },
    intermediate: { signer: intermediate, certificate },
  };
}

/** Issues one certificate, signed by `issuer`. */
export async function issue(issuer: Signer, description: CertificateDescription): Promise<Certificate> {
  return parseCertificate(await issueCertificate(description, (tbs) => issuer.sign(tbs)));
}
