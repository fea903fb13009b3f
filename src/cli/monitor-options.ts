import type { OptionSpec } from './spec.ts';

/** Options by which a process that serves is watched. */
export const MONITOR_OPTIONS: readonly OptionSpec[] = [
  {
    name: 'metrics-port',
    value: 'number',
    about:
      'tell figures for Prometheus at /metrics and health at /health/live and /health/ready on this port',
  },
  {
    name: 'metrics-address',
    value: 'address',
    about: 'address for those (default 127.0.0.1); whoever reaches it may read them',
  },
  {
    name: 'log',
    value: 'file',
    about: 'append a log to this file, one JSON object a line; - for standard error',
  },
];
