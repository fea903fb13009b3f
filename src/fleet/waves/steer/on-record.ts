import { appendEntry, type DeviceClass, readLedger, type Workspace } from '../../../workspace/index.ts';
import type { Broadcast, FleetEvent, FleetStore } from '../../store/types.ts';

/** Entry of the ledger: a step of a broadcast. */
export const BROADCAST_STEP = 'broadcast-step';
const STEPS = /^(?:broadcast|wave)-(?:planned|running|paused|halted|done|open|soaking|passed|stopped)$/;
const PAGE = 1000;

/**
 * Enters in the ledger what the journal of the store says of a broadcast and the ledger does not: what was begun, opened,
 * passed, paused, stopped by itself, halted, and why. It may be done again, and a process that was killed in between is made
 * good by the next.
 */
export async function putOnRecord(
  workspace: Workspace,
  store: FleetStore,
  { name }: DeviceClass,
  broadcast: Broadcast,
): Promise<void> {
  const known = new Set(
    readLedger(workspace)
      .filter(({ kind, facts }) => kind === BROADCAST_STEP && facts.broadcast === broadcast.id)
      .map(({ facts }) => keyOf(Number(facts.event), String(facts.at))),
  );
  for await (const event of steps(store, broadcast.id)) {
    const at = event.at.toISOString();
    if (known.has(keyOf(event.seq, at))) continue;
    appendEntry(workspace, BROADCAST_STEP, {
      class: name,
      broadcast: broadcast.id,
      release: String(broadcast.release.sequence),
      manifest_digest: broadcast.release.manifestDigest,
      event: event.seq,
      at,
      step: event.kind,
      wave: event.wave ?? null,
      who: event.who,
      says: event.text,
    });
  }
}

// By its time, too: the numbers of a store that was begun anew begin anew.
function keyOf(seq: number, at: string): string {
  return `${seq} ${at}`;
}

async function* steps(store: FleetStore, broadcast: number): AsyncIterable<FleetEvent> {
  for (let after: number | undefined = 0; after !== undefined; ) {
    const page: FleetEvent[] = await store.events({ broadcast, after, limit: PAGE });
    yield* page.filter(({ kind }) => STEPS.test(kind));
    after = page.length < PAGE ? undefined : page.at(-1)!.seq;
  }
}
