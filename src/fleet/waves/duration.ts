const UNITS = { s: 1, min: 60, h: 3600, d: 86_400 } as const;
const TEXT = /^(\d{1,6}) ?(s|min|h|d)$/;
const WORDS = [
  ['d', 86_400],
  ['h', 3600],
  ['min', 60],
] as const;

/** What a duration looks like where people write it. */
export const DURATION = 'a time such as 90 s, 30 min, 12 h or 3 d';

/** Seconds of a duration as people write it, or undefined where it is none. */
export function secondsOf(text: string): number | undefined {
  const [, count, unit] = TEXT.exec(text) ?? [];
  return count === undefined ? undefined : Number(count) * UNITS[unit as keyof typeof UNITS];
}

/** A duration in words, in the largest unit that keeps it exact: `36 h`. */
export function durationText(seconds: number): string {
  const whole = Math.max(0, Math.ceil(seconds));
  const [unit, size] = WORDS.find(([, each]) => whole >= each && whole % each === 0) ?? ['s', 1];
  return `${whole / size} ${unit}`;
}

/** About how long, for people: the two largest units. */
export function aboutText(seconds: number): string {
  let left = Math.max(0, Math.ceil(seconds));
  const parts: string[] = [];
  for (const [unit, size] of [...WORDS, ['s', 1] as const]) {
    if (left < size || parts.length === 2) continue;
    parts.push(`${Math.floor(left / size)} ${unit}`);
    left %= size;
  }
  return parts.join(' ') || '0 s';
}
