import type { Broadcast, FleetStore, Lease } from '../../store/types.ts';
import type { Decision } from '../rules/decide.ts';

const WAVE_STATE = { open: 'open', soak: 'soaking', pass: 'passed' } as const;

/**
 * Puts a decision into the store under the lease. A stop changes the broadcast first: from then on nothing is offered,
 * whatever becomes of this process. Throws `FleetError` lease-lost, revision-passed.
 */
export async function carryOut(
  store: FleetStore,
  { id, revision }: Broadcast,
  decision: Exclude<Decision, { do: 'wait' }>,
  lease: Lease,
): Promise<void> {
  const { why } = decision;
  const who = lease.holder;
  if (decision.do === 'done') {
    await store.setBroadcastState({ id, expectedRevision: revision, state: 'done', why, who }, lease);
    return;
  }
  const wave = { broadcast: id, number: decision.wave, why, who };
  if (decision.do !== 'stop') {
    const state = WAVE_STATE[decision.do];
    await store.setWaveState({ ...wave, expectedRevision: revision, state }, lease);
    return;
  }
  const paused = await store.setBroadcastState(
    { id, expectedRevision: revision, state: 'paused', why, who },
    lease,
  );
  await store.setWaveState({ ...wave, expectedRevision: paused.revision, state: 'stopped' }, lease);
}
