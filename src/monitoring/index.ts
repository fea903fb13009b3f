/**
 * Monitoring: how a process that serves is doing. Figures for Prometheus, health, and a log of what was asked and what failed; never a
 * secret, and nothing that units or people sent.
 */
export { Looks } from './looks.ts';
export { type Monitor, openMonitor } from './monitor.ts';
