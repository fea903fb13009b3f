import { takeAttestation } from './attestations.ts';
import type { Backend } from './backend.ts';
import { backupTo } from './backup.ts';
import { createBroadcast, listBroadcasts, readBroadcast, setBroadcastState } from './broadcasts.ts';
import { Core } from './core.ts';
import { readCounts, readWaveCounts } from './counts.ts';
import { readEvents } from './events.ts';
import { readHistory } from './history.ts';
import { importUnits } from './import.ts';
import { heldLeases, holderOf, releaseLease, renewLease, takeLease } from './leases.ts';
import { placeUnits } from './place.ts';
import { takeReports } from './reports.ts';
import { restoreFrom } from './restore.ts';
import { search } from './search.ts';
import { thinReports } from './thin.ts';
import type { FleetStore } from './types.ts';
import { eachUnit, readUnit } from './units.ts';
import { countSilent, listWaves, setWaveState } from './waves.ts';

/** A store over an open database. */
export function storeOver(backend: Backend, now: () => Date): FleetStore {
  const core = new Core(backend, now);
  return {
    importUnits: (rows) => importUnits(core, rows),
    exportUnits: () => eachUnit(core, core.db),
    unit: (name) => readUnit(core, name),
    history: (name, page) => readHistory(core, name, page),
    search: (query) => search(core, query),
    counts: (of) => readCounts(core, of),
    takeReport: async (report) => (await takeReports(core, [report]))[0]!,
    takeReports: (reports) => takeReports(core, reports),
    thinReports: (before, remove) => thinReports(core, before, remove),
    takeAttestation: (attestation) => takeAttestation(core, attestation),
    createBroadcast: (made, fence) => createBroadcast(core, made, fence),
    broadcast: (id) => readBroadcast(core, id),
    broadcasts: (of) => listBroadcasts(core, of),
    setBroadcastState: (change, fence) => setBroadcastState(core, change, fence),
    waves: (broadcast) => listWaves(core, broadcast),
    setWaveState: (change, fence) => setWaveState(core, change, fence),
    placeUnits: (broadcast, waveOf, fence) => placeUnits(core, broadcast, waveOf, fence),
    waveCounts: (broadcast) => readWaveCounts(core, broadcast),
    silent: (broadcast, wave, since) => countSilent(core, broadcast, wave, since),
    note: (event, fence) => core.write((tx) => tx.note(event), fence),
    events: (query) => readEvents(core, query),
    lease: (name, holder, seconds) => takeLease(core, name, holder, seconds),
    renew: (lease, seconds) => renewLease(core, lease, seconds),
    release: (lease) => releaseLease(core, lease),
    holderOf: (name) => holderOf(core, name),
    leases: () => heldLeases(core),
    backup: (path) => backupTo(core, path),
    restore: (path, seen = {}) => restoreFrom(core, path, seen),
    close: () => backend.close(),
  };
}
