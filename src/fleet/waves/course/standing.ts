import { z } from 'zod';
import type { Broadcast, FleetStore, WaveCounts as StoreCounts, Wave } from '../../store/types.ts';
import {
  type BroadcastStanding,
  type Known,
  NOTHING_KNOWN,
  type WaveCounts,
  type WaveStanding,
} from '../rules/standing.ts';
import type { Course } from './course.ts';

const knownSchema = z.strictObject({
  refused: z.int().min(0),
  fellBack: z.int().min(0),
  silent: z.int().min(0),
});

/** How a broadcast stands by the store. */
export async function standingOf(
  store: FleetStore,
  { id, state }: Broadcast,
  { plan }: Course,
  now: Date,
): Promise<BroadcastStanding> {
  const [waves, counts] = [await store.waves(id), await store.waveCounts(id)];
  const standings: WaveStanding[] = [];
  for (const [i, wave] of waves.entries()) {
    const cutoff = new Date(now.getTime() - plan.waves[i]!.silence * 1000);
    const silent = wave.openedAt ? await store.silent(id, wave.number, cutoff) : 0;
    const told = counts.find(({ number }) => number === wave.number);
    standings.push({
      state: wave.state,
      openedAt: wave.openedAt,
      since: wave.since,
      counts: countsOf(told, silent),
      known: knownOf(wave),
    });
  }
  return { plan, state, waves: standings };
}

function countsOf(told: StoreCounts | undefined, silent: number): WaveCounts {
  const by = told?.byState;
  return {
    units: told?.units ?? 0,
    onTrial: by?.['on-trial'] ?? 0,
    kept: by?.kept ?? 0,
    refused: by?.refused ?? 0,
    fellBack: by?.['fell-back'] ?? 0,
    silent,
  };
}

function knownOf({ known }: Wave): Known {
  return known === undefined || known === null ? NOTHING_KNOWN : knownSchema.parse(known);
}
