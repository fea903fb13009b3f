import { wrongUse } from './exit.ts';
import type { Call } from './spec.ts';

/** The time that --at names, or now. */
export function timeOf(call: Call): Date {
  return dateOf(call, 'at') ?? new Date();
}

/** The time that an option names, or undefined. */
export function dateOf(call: Call, option: string): Date | undefined {
  const text = call.text(option);
  if (text === undefined) return undefined;
  const time = new Date(text);
  if (!Number.isNaN(time.getTime())) return time;
  throw wrongUse(
    `--${option} ${text} is not a date`,
    `for example --${option} 2031-06-30 or --${option} 2031-06-30T12:00:00Z`,
  );
}
