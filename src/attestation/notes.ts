import type { AppraisedClaim } from './appraisal.ts';
import { ATTESTATION_REFUSALS, type AttestationCode, CLAIMS, type ClaimName } from './appraisal-rows.ts';

/** Ends an appraisal: what follows cannot be judged. */
export class Ended extends Error {}

/** What was looked at so far. */
export class Notes {
  readonly #claims: AppraisedClaim[] = [];
  refusal: AttestationCode | null = null;
  /** Something needed to judge was not at hand. */
  open = false;

  holds(claim: ClaimName, detail: string, source: string): void {
    this.#claims.push({ claim, result: 'holds', detail, source });
  }

  skip(claim: ClaimName, detail: string, source: string): void {
    this.#claims.push({ claim, result: 'not judged', detail, source });
  }

  /** As `skip`, for what must be judged before the answer can be taken. */
  leaveOpen(claim: ClaimName, detail: string, source: string): void {
    this.open = true;
    this.skip(claim, detail, source);
  }

  /** Writes down a failure; the first one is the refusal. */
  fails(code: AttestationCode, detail: string, source: string): void {
    this.refusal ??= code;
    this.#claims.push({ claim: ATTESTATION_REFUSALS[code].claim, result: 'fails', detail, source });
  }

  end(code: AttestationCode, detail: string, source: string): never {
    this.fails(code, detail, source);
    throw new Ended(code);
  }

  /** Every claim in its order; those not reached are not judged. */
  get all(): readonly AppraisedClaim[] {
    return CLAIMS.flatMap((claim) => {
      const found = this.#claims.filter((each) => each.claim === claim);
      if (found.length > 0) return found;
      return [{ claim, result: 'not judged' as const, detail: 'not reached', source: '' }];
    });
  }
}
