import { wrongUse } from './exit.ts';
import type { Call } from './spec.ts';

const HIGHEST_PORT = 65_535;

/** The port that --port names, or 0 for one that is free. */
export function portOf(call: Call): number {
  const port = call.count('port') ?? 0;
  if (port <= HIGHEST_PORT) return port;
  throw wrongUse(`--port ${port}: ports end at ${HIGHEST_PORT}`, 'leave it out for one that is free');
}
