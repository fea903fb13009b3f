/** Several signers under the chain of Hollin Ridge, each with a role of its own, and units that ask for them. Test keys. */
import { LABEL, type SealParts, sealSign1 } from '../../src/cose/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type { AuthenticationPolicy, SignerDemand, SignerRight, UnitView } from '../../src/unit/index.ts';
import { SECURITY_VERSION_LABEL, type UnitRecord, type UnitState } from '../../src/unit/index.ts';
import { type Certificate, type CertificateDescription, issuerOf } from '../../src/x509/index.ts';
import { issue, type TestChain, type TestKey, testKey } from '../x509/support.ts';
import { makerChain, type Sealing, scopeOf, signerOf, unitOf, VENT, x5chain } from './maker.ts';

/** One who signs: a key, and its certificate under the chain's intermediate. */
export interface Hand {
  readonly chain: TestChain;
  readonly key: TestKey;
  readonly type: 'p256' | 'ed25519';
  readonly certificate: Certificate;
}

export const chain = await makerChain();

/** A signer of class VC-2 with a role. */
export async function hand(
  role: string | undefined,
  changes: Partial<CertificateDescription> & {
    key?: TestKey;
    type?: 'p256' | 'ed25519';
    under?: TestChain;
  } = {},
): Promise<Hand> {
  const { type = 'p256', key = testKey(type), under = chain, ...rest } = changes;
  const certificate = await issue(
    {
      profile: 'signer',
      publicKey: key.spki,
      issuer: issuerOf(under.intermediate),
      scopes: [scopeOf(VENT)],
      role,
      ...rest,
    },
    under.keys.intermediate,
  );
  return { chain: under, key, type, certificate };
}

/** The block of one hand; `securityVersion` in its protected header where it is not 0. */
export function by(
  { chain: { intermediate }, key, type, certificate }: Hand,
  { securityVersion = 0, ...changes }: Partial<SealParts> & { securityVersion?: number } = {},
): Sealing {
  return async (payload) => [
    await sealSign1(signerOf(key, type), {
      payload,
      protectedHeaders: [
        [LABEL.x5t, [-16, sha256(certificate.der)]],
        ...(securityVersion === 0 ? [] : [[SECURITY_VERSION_LABEL, securityVersion] as const]),
      ],
      unprotectedHeaders: [[LABEL.x5chain, x5chain(certificate.der, intermediate.der)]],
      ...changes,
    }),
  ];
}

/** A block whose certificate is a hand's and whose signature is by another key. */
export function forged(of: Hand): Sealing {
  return by({ ...of, key: testKey(of.type) });
}

/** All of these blocks, in this order. */
export function together(...seals: readonly Sealing[]): Sealing {
  return async (digest) => (await Promise.all(seals.map((seal) => seal(digest)))).flat();
}

/** A unit that asks for these signers. */
export function asking(
  authentication: AuthenticationPolicy | undefined,
  changes: {
    rights?: readonly SignerRight[];
    record?: Partial<UnitRecord>;
    state?: Partial<UnitState>;
    shape?: 'remapped' | 'staged';
  } = {},
): UnitView {
  const { rights, record, ...rest } = changes;
  return unitOf(chain, {
    ...rest,
    record: { ...(authentication && { authentication }), ...(rights && { rights }), ...record },
  });
}

export const all = (...roles: readonly SignerDemand[]): AuthenticationPolicy => ({ rule: 'all', roles });
export const any = (...roles: readonly SignerDemand[]): AuthenticationPolicy => ({ rule: 'any', roles });
export const atLeast = (count: number, ...roles: readonly SignerDemand[]): AuthenticationPolicy => ({
  rule: 'at_least',
  count,
  roles,
});
