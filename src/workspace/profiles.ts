/** How a class's payloads are authenticated: by a signature under the root, or by a MAC with a key all units share. */
export type Scheme = 'asymmetric' | 'symmetric';

/** One algorithm profile of draft-ietf-suit-mti. */
export interface Profile {
  readonly name: string;
  readonly scheme: Scheme;
  /** COSE algorithm that authenticates the payload (RFC 9864, RFC 9053, RFC 8778). */
  readonly authentication: { readonly id: number; readonly name: string };
  /** Whether this software makes payloads under it. */
  readonly sealed: boolean;
  readonly source: string;
}

const ESP256 = { id: -9, name: 'ESP256' };
const ED25519 = { id: -19, name: 'Ed25519' };

/** The six profiles, by their standard names. */
export const PROFILES: readonly Profile[] = [
  profile('suit-sha256-hmac-a128kw-a128ctr', 'symmetric', { id: 5, name: 'HMAC 256/256' }, '3.1'),
  profile('suit-sha256-esp256-ecdh-a128ctr', 'asymmetric', ESP256, '3.2'),
  profile('suit-sha256-ed25519-ecdh-a128ctr', 'asymmetric', ED25519, '3.3'),
  profile('suit-sha256-esp256-ecdh-a128gcm', 'asymmetric', ESP256, '3.4'),
  profile('suit-sha256-ed25519-ecdh-chacha-poly', 'asymmetric', ED25519, '3.5'),
  {
    ...profile('suit-sha256-hsslms-a256kw-a256ctr', 'asymmetric', { id: -46, name: 'HSS-LMS' }, '3.6'),
    sealed: false,
  },
];

function profile(
  name: string,
  scheme: Scheme,
  authentication: Profile['authentication'],
  section: string,
): Profile {
  return { name, scheme, authentication, sealed: true, source: `draft-ietf-suit-mti section ${section}` };
}

/** The profile of that standard name, or undefined. */
export function findProfile(name: string): Profile | undefined {
  return PROFILES.find((entry) => entry.name === name);
}

/** The profile a class has where its file names none. */
export function defaultProfile(scheme: Scheme): Profile {
  const found = PROFILES.find(
    (entry) => entry.scheme === scheme && (scheme === 'symmetric' || entry.authentication === ESP256),
  );
  return found!;
}
