import { type Row, tableOf } from './row.ts';

/** A wait event ([UM] section 4.5 and Appendix A). */
export interface WaitEventRow extends Row {
  readonly type: 'int' | 'uint64' | 'other-device' | 'seconds-of-day' | 'day-of-week';
}

const event = (
  code: number,
  name: string,
  type: WaitEventRow['type'],
  support: Row['support'] = 'runs',
): WaitEventRow => ({ code, name, type, support, source: '[UM] 4.5' });

/**
 * Events that a wait may name. Local time is unsupported where the zone and its rules are not known ([UM] section
 * 4.5), and a microcontroller has neither: those two are refused by name.
 */
export const WAIT_EVENTS = tableOf<WaitEventRow>([
  event(1, 'wait-event-authorization', 'int'),
  event(2, 'wait-event-power', 'int'),
  event(3, 'wait-event-network', 'int'),
  event(4, 'wait-event-other-device-version', 'other-device'),
  event(5, 'wait-event-time', 'uint64'),
  event(6, 'wait-event-time-of-day', 'seconds-of-day', 'named'),
  event(7, 'wait-event-day-of-week', 'day-of-week', 'named'),
  event(8, 'wait-event-time-of-day-utc', 'seconds-of-day'),
  event(9, 'wait-event-day-of-week-utc', 'day-of-week'),
]);
