import type { LedgerEntry } from '../workspace/index.ts';
import type { Evidence } from './schema.ts';

/** How a release went out: what the ledger says of its broadcasts, in order, by its manifest digest. */
export function broadcastOf(manifestDigest: string, entries: readonly LedgerEntry[]): Evidence['broadcast'] {
  return entries
    .filter(({ kind, facts }) => kind === 'broadcast-step' && facts.manifest_digest === manifestDigest)
    .map(({ number, facts }) => ({
      entry: number,
      at: String(facts.at),
      broadcast: Number(facts.broadcast),
      step: String(facts.step),
      wave: facts.wave === null ? null : Number(facts.wave),
      who: String(facts.who),
      says: String(facts.says),
    }));
}
