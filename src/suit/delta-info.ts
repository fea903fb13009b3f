import type { CborItem, CborValue } from '../cbor/index.ts';
import { SuitError } from './errors.ts';
import { asArray, asUint } from './read.ts';

/** The content format VCDIFF (RFC 3284), plain: the only one there is. */
export const VCDIFF = 1;

/**
 * What is copied is a delta, and how it is applied: docs/deployment-profile.md section 14. What comes out has the size
 * and digest that the component to which it is copied has as parameters 14 and 3.
 */
export interface DeltaInfo {
  readonly format: typeof VCDIFF;
  /** Bytes that its largest target window makes: what applying it sets aside. */
  readonly window: number;
  /** Index of the component that holds what the delta was made against; it was compared before. */
  readonly precursor: number;
}

/** Reads `[format, window, precursor]`. Throws `SuitError` parameter-unsupported for another format. */
export function readDeltaInfo(item: CborItem): DeltaInfo {
  const [format, window, precursor, ...more] = asArray(item, 'delta info', 'parameter-type');
  if (!format || !window || !precursor || more.length > 0) {
    throw new SuitError(
      'parameter-type',
      item.start,
      'delta info has three items: format, window, precursor',
    );
  }
  const named = asUint(format, 'the format of a delta', 'parameter-type');
  if (named !== VCDIFF) {
    const says = `delta of format ${named}: only ${VCDIFF}, VCDIFF (RFC 3284), is known`;
    throw new SuitError('parameter-unsupported', format.start, says);
  }
  return {
    format: VCDIFF,
    window: asUint(window, 'the largest window of a delta', 'parameter-type'),
    precursor: asUint(precursor, 'the component of a precursor', 'parameter-type'),
  };
}

export function deltaInfoValue({ format, window, precursor }: DeltaInfo): CborValue {
  return [format, window, precursor];
}
