import { wrongUse } from './exit.ts';
import type { Call } from './spec.ts';

/** The time that --at names, or now. */
export function timeOf(call: Call): Date {
  const text = call.text('at');
  if (text === undefined) return new Date();
  const time = new Date(text);
  if (!Number.isNaN(time.getTime())) return time;
  throw wrongUse(`--at ${text} is not a date`, 'for example --at 2031-06-30 or --at 2031-06-30T12:00:00Z');
}
