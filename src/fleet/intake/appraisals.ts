import type { AttestationAppraisal } from '../../attestation/index.ts';
import { toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { unitOnRecord } from '../../verifier/index.ts';
import type { Workspace } from '../../workspace/index.ts';
import type { FleetStore, Taken } from '../store/types.ts';
import { bare } from './recorded-units.ts';

/**
 * Takes down for a unit of the fleet what its answer to a challenge was worth. Only an authentic answer to an open challenge counts:
 * a forged or an old one says nothing about the unit. Undefined where nothing was to be taken down.
 */
export async function takeAppraisal(
  store: FleetStore,
  workspace: Workspace,
  token: Uint8Array,
  { answers, sender, verdict, refusal }: AttestationAppraisal,
): Promise<Taken | undefined> {
  const unit = answers && sender && unitOnRecord(workspace, sender.className, sender.serial);
  if (!unit || verdict === 'incomplete') return undefined;
  return store.takeAttestation({
    classId: bare(unit.classIds.at(-1)!),
    device: bare(unit.deviceId),
    id: toHex(sha256(token)),
    at: workspace.now(),
    verdict,
    refusal: refusal ?? undefined,
  });
}
