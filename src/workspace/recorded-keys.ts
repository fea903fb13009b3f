import type { KeyDescription } from '../keys/index.ts';
import { fingerprint } from '../x509/index.ts';
import { WorkspaceError } from './errors.ts';
import { type LedgerEntry, readLedger } from './ledger.ts';
import { keyNames, readCertificates, readKey } from './registry.ts';
import type { Workspace } from './workspace.ts';

/** A key or certificate that is not the one whose making the ledger records. */
interface KeyFault {
  readonly name: string;
  /** The entry that records the making, where there is one. */
  readonly entry: number | null;
  /** File it concerns, as a path in the workspace. */
  readonly file: string;
  readonly says: string;
}

/**
 * Compares descriptions and certificates with the fingerprints that the ledger took down when the keys were made. Keys
 * of one purpose, or all; a file that cannot be read is a fault too. A swapped root would otherwise be locked into every unit that is provisioned.
 */
export function keyFaults(
  workspace: Workspace,
  purpose?: KeyDescription['purpose'],
  entries: readonly LedgerEntry[] = readLedger(workspace),
): KeyFault[] {
  return keyNames(workspace).flatMap((name) => {
    try {
      const description = readKey(workspace, name);
      if (purpose !== undefined && description.purpose !== purpose) return [];
      return faultOf(workspace, description, entries) ?? [];
    } catch (error) {
      if (!(error instanceof WorkspaceError) || error.code !== 'file-damaged') throw error;
      return { name, entry: null, file: workspace.show(error.file!), says: error.message };
    }
  });
}

function faultOf(
  workspace: Workspace,
  { name, fingerprint: described }: KeyDescription,
  entries: readonly LedgerEntry[],
): KeyFault | undefined {
  const made = entries.find(({ facts }) => facts.key === name && typeof facts.fingerprint === 'string');
  const fault = (folder: string, says: string) => ({ name, entry: made?.number ?? null, file: folder, says });
  const file = `keys/${name}.json`;
  if (!made) return fault(file, `${file} stands on no entry of the ledger`);
  const recorded = made.facts.fingerprint;
  if (described !== recorded) return fault(file, `${file} is not the key that entry ${made.number} records`);
  const certificate = readCertificates(workspace, name)[0];
  if (!certificate || fingerprint(certificate.spki) === recorded) return undefined;
  const chain = `certificates/${name}.pem`;
  return fault(chain, `${chain} is for another key than entry ${made.number} records`);
}
