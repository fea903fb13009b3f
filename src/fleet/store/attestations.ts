import type { Core } from './core.ts';
import { requireDigest, requireName } from './require.ts';
import type { Taken, UnitAttestation } from './types.ts';
import { findRow } from './units.ts';

/** Keeps what an answer to a challenge was found to be worth; the newest stands with the unit. Throws `FleetError` unit-malformed. */
export function takeAttestation(core: Core, attestation: UnitAttestation): Promise<Taken> {
  const { id, at, verdict, refusal = null } = attestation;
  requireName(attestation);
  requireDigest(id);
  return core.write(async ({ db }): Promise<Taken> => {
    const unit = await findRow(db, attestation);
    if (!unit) return 'stranger';
    const kept = await db
      .insertInto('attestations')
      .values({ unit_no: unit.no, id, at: at.getTime(), verdict, refusal })
      .onConflict((conflict) => conflict.column('id').doNothing())
      .returning('id')
      .executeTakeFirst();
    if (!kept) return 'known';
    await db
      .updateTable('units')
      .set({ attested_at: at.getTime(), attested_verdict: verdict })
      .where('no', '=', unit.no)
      .where((is) => is.or([is('attested_at', 'is', null), is('attested_at', '<=', at.getTime())]))
      .execute();
    return 'new';
  });
}
