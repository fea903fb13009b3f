import { type Outcome, WAIT_EVENTS, type WaitInfo } from '../../suit/index.ts';
import type { Circumstances } from './condition-rows.ts';

export const WAIT = 29;

/** Outcome of a wait whose time has not come. */
export const NOT_OVER = 'wait-not-over';
const DAY = 86_400;
const SUNDAY_TO_EPOCH = 4;

/**
 * Whether what a wait waits for has come (draft-ietf-suit-update-management sections 4.5 and 5.6). Only a clock can
 * tell; authorization, power, network and other devices are nothing that a unit could judge, as in conditions.
 */
export function judgeWait(info: WaitInfo, { at }: Circumstances): Outcome {
  const seconds = at instanceof Date ? BigInt(Math.floor(at.getTime() / 1000)) : undefined;
  for (const [code, value] of Object.entries(info)) {
    if (seconds !== undefined && hasCome(Number(code), value, seconds)) continue;
    const name = WAIT_EVENTS.get(Number(code))?.name;
    const why =
      seconds === undefined && Number(code) >= 5 ? 'no clock that the unit trusts' : 'it has not come';
    return { ok: false, reason: NOT_OVER, detail: `${name}: ${why}` };
  }
  return { ok: true };
}

function hasCome(code: number, value: unknown, seconds: bigint): boolean {
  const days = seconds / BigInt(DAY);
  if (code === 5) return seconds >= (value as bigint);
  if (code === 8) return Number(seconds - days * BigInt(DAY)) >= (value as number);
  return code === 9 && (Number(days % 7n) + SUNDAY_TO_EPOCH) % 7 === value;
}
