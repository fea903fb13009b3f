import { DeltaError } from './errors.ts';

const KiB = 2 ** 10;
const MiB = 2 ** 20;

/** The bounds of this room and why each has its value. All but `precursor` hold for what a stranger sends. */
export const DELTA_LIMITS = {
  targetWindow: {
    value: MiB,
    unit: 'bytes',
    reason: 'the one buffer that applying a delta sets aside; a class with less RAM gives a smaller figure',
  },
  target: {
    value: 64 * MiB,
    unit: 'bytes',
    reason: 'more than the external flash of a microcontroller device; ends work on a delta that expands on',
  },
  windows: {
    value: 64 * KiB,
    unit: 'windows',
    reason: 'the largest target in windows of 1 KiB; empty windows are legal and would otherwise be free',
  },
  integer: {
    value: 2 ** 32 - 1,
    unit: '',
    reason: 'five base-128 digits; sizes and addresses fit a 32-bit word of the device',
  },
  precursor: {
    value: 32 * MiB,
    unit: 'bytes',
    reason: 'making a delta holds the precursor and 16 bytes of index for each of its bytes in memory',
  },
} as const satisfies Record<string, { value: number; unit: string; reason: string }>;

/** What a caller may lower (or raise) for one device class: sizes in bytes, `windows` a count. */
export interface DeltaLimits {
  targetWindow: number;
  target: number;
  windows: number;
}

/** The default limits with a caller's own figures on top. */
export function limitsWith(own: Partial<DeltaLimits> = {}): DeltaLimits {
  const { targetWindow, target, windows } = DELTA_LIMITS;
  return { targetWindow: targetWindow.value, target: target.value, windows: windows.value, ...own };
}

/** Throws `DeltaError` 'too-large' where a size is beyond its limit. */
export function requireSize(what: string, size: number, limit: number, offset?: number): void {
  if (size > limit)
    throw new DeltaError('too-large', `${what} has ${size} bytes, the limit is ${limit}`, offset);
}
