/** One notice that a regulator may be owed, and when it is due. */
export interface Clock {
  /** What `incident done` calls it. */
  readonly id: string;
  readonly title: string;
  /** Hours after the maker became aware; undefined where none is stated here. */
  readonly hours: number | undefined;
}

/**
 * Reporting duties for actively exploited vulnerabilities and severe incidents: Regulation (EU) 2024/2847 (Cyber Resilience
 * Act), Article 14. The hours are from secondary copies, and the dates of application from memory: not legal advice.
 */
export const CLOCKS: readonly Clock[] = [
  { id: 'early-warning', title: 'early warning', hours: 24 },
  { id: 'notification', title: 'notification', hours: 72 },
  { id: 'final-report', title: 'final report', hours: undefined },
];

export const CLOCK_SOURCE =
  'Regulation (EU) 2024/2847 (CRA), Article 14; hours from secondary copies, not legal advice: ask counsel whether it applies, and to whom it goes';

const HOUR_MS = 3_600_000;

/** When a notice is due, RFC 3339; undefined where no hours are stated here. */
export function dueAt({ hours }: Clock, aware: string): string | undefined {
  return hours === undefined ? undefined : new Date(Date.parse(aware) + hours * HOUR_MS).toISOString();
}
