import type { Stranger, TrialBroker } from './broker.ts';
import type { Forger } from './forger.ts';
import type { HttpProxy } from './http-proxy.ts';
import type { TrialServer } from './server.ts';
import type { Steering } from './steering.ts';
import type { Workers } from './workers.ts';

/** What a trial measured. */
export interface Figures {
  readonly units: number;
  readonly seconds: number;
  readonly requests: number;
  readonly requestsPerSecond: number;
  /** Milliseconds that the server took, at the 95th percentile, restarts and all. */
  readonly p95: number;
  readonly acknowledged: number;
  /** The most that any agent process had. */
  readonly peakMemoryBytes: number;
  /** How often what was done or met. */
  readonly met: Readonly<Record<string, number>>;
}

/** Puts the figures together. */
export function figuresOf(from: {
  units: number;
  seconds: number;
  memory: readonly number[];
  proxy: HttpProxy;
  broker: TrialBroker;
  server: TrialServer;
  workers: Workers;
  steering: Steering;
  forger: Forger;
  stranger: Stranger;
}): Figures {
  const { units, seconds, memory, proxy, broker, server, workers, steering, forger, stranger } = from;
  const sorted = proxy.took.toSorted((a, b) => a - b);
  return {
    units,
    seconds,
    requests: sorted.length,
    requestsPerSecond: sorted.length / seconds,
    p95: sorted[Math.floor(sorted.length * 0.95)] ?? 0,
    acknowledged: proxy.acknowledged.size,
    peakMemoryBytes: Math.max(...memory),
    met: {
      ...Object.fromEntries(proxy.met),
      'refused for want of room': proxy.full,
      'connections to the broker cut': broker.cuts,
      'messages by a stranger at the broker': stranger.sent,
      'agent processes killed': workers.kills,
      'steering processes killed': steering.kills,
      'steering processes ended by themselves': steering.ends,
      'server started': server.restarts,
      'reports forged': forger.forged.size,
      'reports repeated by a stranger': forger.repeated,
    },
  };
}
