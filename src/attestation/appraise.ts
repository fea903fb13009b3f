import {
  type CoseVerdict,
  type MacAlgorithm,
  type SignatureAlgorithm,
  verifyMac0,
  verifySign1,
} from '../cose/index.ts';
import { readPublicKey } from '../crypto/index.ts';
import type { AttestationAppraisal, AttestationBooks, AttestedSender, AttestedUnit } from './appraisal.ts';
import type { EatClaims } from './claims.ts';
import { AttestationError } from './error.ts';
import { judgeAge, judgeCode } from './judge-code.ts';
import { judgeFreshness, judgeIdentity, judgeProfile } from './judge-origin.ts';
import { judgeBoot, judgeDebug, judgeSelfCheck } from './judge-state.ts';
import { MEASUREMENT_FORMAT, type RegionMeasurement, readMeasurement } from './measurement.ts';
import { Ended, Notes } from './notes.ts';
import { readClaims } from './read-claims.ts';
import { openToken, type SealedToken, TYPE_LABEL } from './token.ts';

const CONTAINER = 'RFC 9711 3; RFC 8392 7.2';
const CONTENT = 'RFC 9711 4';

type Found = { -readonly [K in keyof AttestationAppraisal]?: AttestationAppraisal[K] };

/**
 * Appraises a token claim by claim: who made it, whether it is authentic, whether it answers a challenge of ours and
 * answers it now, and whether what it says is what was sealed. Nothing in it is read before it is authentic. Never
 * throws on data.
 */
export function appraiseToken(bytes: Uint8Array, books: AttestationBooks): AttestationAppraisal {
  const notes = new Notes();
  const found: Found = {};
  try {
    judge(bytes, books, notes, found);
  } catch (error) {
    if (!(error instanceof Ended)) throw error;
  }
  const { refusal, all, open } = notes;
  const { sender, told, measured, release, answers } = found;
  const verdict = refusal ? 'refused' : open ? 'incomplete' : 'genuine';
  return { verdict, refusal, claims: all, sender, told, measured, release, answers };
}

function judge(bytes: Uint8Array, books: AttestationBooks, notes: Notes, found: Found): void {
  const sealed = judgeForm(bytes, notes);
  const unit = judgeSender(sealed, books, notes);
  found.sender = judgeAuthenticity(sealed, unit, notes);
  const told = readContent(sealed, notes);
  found.told = told;
  judgeProfile(notes, told);
  const { nonce, measured } = requireClaims(notes, told);
  found.measured = measured;
  const challenge = judgeFreshness(notes, nonce, sealed.deviceId!, books);
  found.answers = nonce;
  judgeIdentity(notes, told, unit);
  judgeDebug(notes, told);
  judgeBoot(notes, told, unit);
  found.release = judgeCode(notes, { told, measured, unit, challenge, nonce }, books);
  judgeSelfCheck(notes, told);
  if (found.release) judgeAge(notes, found.release, books.leastNumber(unit.className));
}

function judgeForm(bytes: Uint8Array, notes: Notes): SealedToken {
  try {
    const sealed = openToken(bytes);
    const kind = sealed.message.kind === 'sign1' ? 'Sign1' : 'Mac0';
    notes.holds('form', `a CWT in a COSE_${kind}`, CONTAINER);
    return sealed;
  } catch (error) {
    if (!(error instanceof AttestationError)) throw error;
    const code = error.code === 'type' ? 'not-a-token' : 'token-malformed';
    return notes.end(code, `byte ${error.offset}: ${error.message}`, CONTAINER);
  }
}

function judgeSender(
  { deviceId, message }: SealedToken,
  books: AttestationBooks,
  notes: Notes,
): AttestedUnit {
  const source = 'docs/attestation.md; RFC 9052 3.1 (kid)';
  if (!deviceId) return notes.end('unit-unknown', 'no device identifier in the protected kid', source);
  const unit = books.unit(deviceId);
  if (!unit) return notes.end('unit-unknown', 'no such device identifier on record', source);
  const named = `${unit.className} ${unit.serial}`;
  const signed = message.kind === 'sign1';
  if (signed ? unit.attestationKey : unit.macKey) notes.holds('sender', `says it is unit ${named}`, source);
  else {
    const missing = signed ? 'attestation key' : 'shared key at hand';
    notes.end('key-unknown', `${named} has no ${missing}`, source);
  }
  return unit;
}

function judgeAuthenticity(sealed: SealedToken, unit: AttestedUnit, notes: Notes): AttestedSender {
  const signed = sealed.message.kind === 'sign1';
  const source = signed ? 'RFC 9052 4.4' : 'RFC 9052 6.3';
  const verdict = verified(sealed, unit);
  if (!verdict) return notes.end('key-unknown', 'the key on record cannot be read', source);
  if (!verdict.ok) {
    const wrong = verdict.code === 'signature-wrong' || verdict.code === 'mac-wrong';
    return notes.end(wrong ? verdict.code : 'algorithm-not-allowed', verdict.detail, source);
  }
  const { status } = verdict.algorithm as Partial<SignatureAlgorithm>;
  if (status === 'legacy') {
    return notes.end('algorithm-not-allowed', `${verdict.algorithm.name} is legacy (RFC 9864)`, source);
  }
  const provedBy = signed ? 'unit key' : 'class key';
  const whose = signed ? 'the unit' : 'the unit, or anyone who holds its class key';
  notes.holds('authenticity', `${verdict.algorithm.name}, made by ${whose}`, source);
  return { className: unit.className, serial: unit.serial, provedBy };
}

function verified(
  { message, payload }: SealedToken,
  { attestationKey, macKey }: AttestedUnit,
): CoseVerdict<SignatureAlgorithm> | CoseVerdict<MacAlgorithm> | undefined {
  const options = { understood: [TYPE_LABEL] };
  if (message.kind === 'mac0') return verifyMac0(message, macKey!, payload, options);
  const key = readPublicKey(attestationKey!);
  return key && verifySign1(message, key, payload, options);
}

function readContent({ payload }: SealedToken, notes: Notes): EatClaims {
  try {
    const told = readClaims(payload);
    const left = told.others.length > 0 ? `; ${told.others.length} that are not read here` : '';
    notes.holds('content', `a claims set of ${payload.length} bytes${left}`, CONTENT);
    return told;
  } catch (error) {
    if (!(error instanceof AttestationError)) throw error;
    return notes.end('claims-malformed', `byte ${error.offset}: ${error.message}`, CONTENT);
  }
}

/** What every answer of this profile has beside its profile: one nonce, an identity, a boot seed, one measurement. */
function requireClaims(
  notes: Notes,
  told: EatClaims,
): { readonly nonce: Uint8Array; readonly measured: RegionMeasurement } {
  const source = 'docs/deployment-profile.md';
  const { nonces, ueid, oemid, hwmodel, bootseed, measurements } = told;
  const [nonce] = nonces;
  const [measurement] = measurements;
  for (const [name, value] of Object.entries({
    eat_nonce: nonce,
    ueid,
    oemid,
    hwmodel,
    bootseed,
    measurement,
  })) {
    if (value === undefined) notes.end('claims-missing', `${name} is missing`, source);
  }
  const single = nonces.length === 1 && measurements.length === 1;
  if (!single) notes.end('claims-malformed', 'more than one nonce or measurement', source);
  if (measurement!.format !== MEASUREMENT_FORMAT) {
    notes.end('claims-malformed', `a measurement of content format ${measurement!.format}`, source);
  }
  try {
    return { nonce: nonce!, measured: readMeasurement(measurement!.body) };
  } catch (error) {
    if (!(error instanceof AttestationError)) throw error;
    return notes.end('claims-malformed', `measurement, byte ${error.offset}: ${error.message}`, source);
  }
}
