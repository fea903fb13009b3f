import type { Output } from './output.ts';
import { plain } from './show-verdict.ts';

/** One thing that an appraisal looked at. */
interface ShownClaim {
  readonly claim: string;
  readonly result: 'holds' | 'fails' | 'not judged';
  readonly detail: string;
}

const WIDEST_RESULT = 'not judged'.length;

/** What an appraisal looked at, one line each. */
export function showClaims(out: Output, claims: readonly ShownClaim[]): void {
  for (const { claim, result, detail } of claims) {
    const paint = { holds: out.paint.green, fails: out.paint.red, 'not judged': out.paint.dim }[result];
    const gap = ' '.repeat(WIDEST_RESULT - result.length);
    out.line(`  ${claim.padEnd(13)} ${paint(result)}${gap}  ${plain(detail)}`);
  }
}

/** Why something was not taken: the claim that fails, what it means, what to do next. */
export function showNotTaken(
  out: Output,
  code: string,
  row: { readonly claim: string; readonly says: string; readonly meaning: string; readonly next: string },
): void {
  out.line(out.paint.bold(`not taken, at ${row.claim}: ${code}`));
  out.line(`  ${row.says}`);
  out.line(`  ${out.paint.dim('means')}  ${row.meaning}`);
  out.line(`  ${out.paint.dim('next ')}  ${row.next}`);
}
