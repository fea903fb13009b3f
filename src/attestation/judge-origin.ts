import { equal, toHex } from '../bytes/index.ts';
import type { AttestationBooks, AttestedUnit, MadeChallenge } from './appraisal.ts';
import { type EatClaims, TOKEN_PROFILE } from './claims.ts';
import { identityOf } from './identity.ts';
import type { Notes } from './notes.ts';

const FRESHNESS = 'RFC 9711 4.1; RFC 9334 10.2';
const IDENTITY = 'RFC 9711 4.2.1, 4.2.3, 4.2.4';

/** Whether the token is of the profile that gives its claims their meaning (RFC 9711 section 6). */
export function judgeProfile(notes: Notes, { profile }: EatClaims): void {
  const source = 'RFC 9711 4.3.2, 6';
  if (profile === TOKEN_PROFILE) notes.holds('profile', TOKEN_PROFILE, source);
  else {
    const found = profile === undefined ? 'none' : typeof profile === 'string' ? profile : toHex(profile);
    notes.end('profile-wrong', `the profile is ${found}`, source);
  }
}

/** Whether the token answers a challenge that was made here, for this unit, not answered before, and in time. */
export function judgeFreshness(
  notes: Notes,
  nonce: Uint8Array,
  deviceId: Uint8Array,
  books: AttestationBooks,
): MadeChallenge {
  const challenge = books.challenge(nonce);
  if (!challenge) return notes.end('nonce-unknown', 'no challenge has this nonce', FRESHNESS);
  if (!equal(challenge.deviceId, deviceId)) {
    return notes.end('nonce-of-another-unit', 'the challenge names another device identifier', FRESHNESS);
  }
  if (challenge.used) return notes.end('nonce-used', 'an answer to it is on record', FRESHNESS);
  if (books.now > challenge.expires) {
    return notes.end('nonce-expired', `it ran out at ${challenge.expires.toISOString()}`, FRESHNESS);
  }
  notes.holds('freshness', 'it answers the challenge, for the first time', FRESHNESS);
  return challenge;
}

/** Whether the claims name the unit whose key made the token. */
export function judgeIdentity(notes: Notes, told: EatClaims, unit: AttestedUnit): void {
  const expected = identityOf(unit);
  const differing = (['ueid', 'oemid', 'hwmodel'] as const).find((name) => {
    const found = told[name];
    return !(found instanceof Uint8Array && equal(found, expected[name]));
  });
  if (differing) notes.fails('identity-differs', `${differing} is not that of the unit`, IDENTITY);
  else notes.holds('identity', `${unit.className} ${unit.serial}`, IDENTITY);
}
