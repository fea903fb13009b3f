/** Keys and certificates made for these tests only: invented names (Hollin Ridge), nothing kept. */
import { generateKeyPairSync, type KeyObject, sign } from 'node:crypto';
import type { KeyType } from '../../src/crypto/index.ts';
import {
  type Anchor,
  type Certificate,
  type CertificateDescription,
  DerError,
  issueCertificate,
  issuerOf,
  parseCertificate,
  type SignCallback,
  writeName,
  X509Error,
} from '../../src/x509/index.ts';

export interface TestKey {
  readonly spki: Uint8Array;
  readonly sign: SignCallback;
  readonly privateKey: KeyObject;
}

export function testKey(type: Exclude<KeyType, 'hss-lms'> = 'p256'): TestKey {
  const { publicKey, privateKey } =
    type === 'p256' ? generateKeyPairSync('ec', { namedCurve: 'P-256' }) : generateKeyPairSync('ed25519');
  return {
    spki: new Uint8Array(publicKey.export({ format: 'der', type: 'spki' })),
    privateKey,
    sign: async (tbs) =>
      new Uint8Array(
        type === 'p256'
          ? sign('sha256', tbs, { key: privateKey, dsaEncoding: 'ieee-p1363' })
          : sign(null, tbs, privateKey),
      ),
  };
}

export const CLASS_SCOPE = 'urn:uuid:4be0643f-1d98-573b-97cd-ca98a65347dd';
export const OTHER_SCOPE = 'urn:uuid:1492af14-2569-5e48-bf42-9b2d51f2ab45';
export const FROM = new Date('2026-01-01T00:00:00Z');
export const UNTIL = new Date('2036-01-01T00:00:00Z');
export const NOW = new Date('2026-11-25T12:00:00Z');

export function named(commonName: string) {
  return writeName([
    ['O', 'Hollin Ridge'],
    ['CN', commonName],
  ]);
}

/** A description with what these tests don't care about filled in. */
export function describeCertificate(
  part: Partial<CertificateDescription> & Pick<CertificateDescription, 'profile' | 'publicKey'>,
): CertificateDescription {
  const rights = part.profile === 'signer' ? { scopes: [CLASS_SCOPE], generation: 1 } : {};
  return { subject: named(part.profile), notBefore: FROM, notAfter: UNTIL, trial: false, ...rights, ...part };
}

export interface TestChain {
  readonly keys: { readonly root: TestKey; readonly intermediate: TestKey; readonly signer: TestKey };
  readonly root: Certificate;
  readonly intermediate: Certificate;
  readonly signer: Certificate;
  readonly anchor: Anchor;
}

/** Root, intermediate and signer by the profiles of issueCertificate. */
export async function testChain(
  type: Exclude<KeyType, 'hss-lms'> = 'p256',
  changes: Partial<CertificateDescription> = {},
): Promise<TestChain> {
  const keys = { root: testKey(type), intermediate: testKey(type), signer: testKey(type) };
  const root = await issue(
    { profile: 'root', publicKey: keys.root.spki, notAfter: null, trial: changes.trial ?? false },
    keys.root,
  );
  const intermediate = await issue(
    {
      profile: 'intermediate',
      publicKey: keys.intermediate.spki,
      issuer: issuerOf(root),
      trial: changes.trial ?? false,
    },
    keys.root,
  );
  const signer = await issue(
    { profile: 'signer', publicKey: keys.signer.spki, issuer: issuerOf(intermediate), ...changes },
    keys.intermediate,
  );
  return { keys, root, intermediate, signer, anchor: anchorOf(root) };
}

export async function issue(
  part: Partial<CertificateDescription> & Pick<CertificateDescription, 'profile' | 'publicKey'>,
  key: TestKey,
): Promise<Certificate> {
  return parseCertificate(await issueCertificate(describeCertificate(part), key.sign));
}

export function anchorOf(certificate: Certificate): Anchor {
  return { name: certificate.subject.der, spki: certificate.spki };
}

/** The code of the DerError or X509Error that a call throws, or 'accepted'. Anything else thrown goes on. */
export function codeOf(run: () => unknown): string {
  try {
    run();
    return 'accepted';
  } catch (error) {
    if (error instanceof DerError || error instanceof X509Error) return error.code;
    throw error;
  }
}
