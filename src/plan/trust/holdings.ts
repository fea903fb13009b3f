import { hssCost } from '../../crypto/index.ts';
import type { KeyDescription } from '../../keys/index.ts';
import { formatUuid } from '../../suit/index.ts';
import {
  classKeys,
  contentKeys,
  type DeviceClass,
  type LeafState,
  listKeys,
  listRecords,
  readCertificates,
  readLeaves,
  readLedger,
  rootStandings,
  shapeOf,
  type Workspace,
} from '../../workspace/index.ts';
import type { Certificate } from '../../x509/index.ts';

/** A signer that covers a class, and its certificate. */
export interface HeldSigner {
  readonly description: KeyDescription;
  readonly chain: readonly Certificate[];
  /** Of an HSS/LMS key. */
  readonly leaves: LeafState | undefined;
  readonly signatureBytes: number;
}

/** What the workspace has for a class now. */
export interface Holdings {
  readonly signers: readonly HeldSigner[];
  readonly roots: readonly KeyDescription[];
  /** Those of them that units get as spares, by name. */
  readonly spareRoots: readonly string[];
  /** MAC keys of a symmetric class. */
  readonly macKeys: readonly {
    readonly name: string;
    readonly cohort: string | undefined;
    readonly custody: string;
  }[];
  readonly contentKeys: number;
  readonly approvers: readonly KeyDescription[];
  /** Units on record. */
  readonly unitsOnRecord: number;
  /** Highest sequence number and security version that were sealed; zero before the first. */
  readonly lastNumber: bigint;
  readonly securityVersion: number;
  readonly lastVersion: string | undefined;
}

const RAW_SIGNATURE = 64;

/** Reads what the workspace has for a class. Opens no key. */
export function holdingsOf(workspace: Workspace, deviceClass: DeviceClass): Holdings {
  const { name } = deviceClass;
  const sealed = readLedger(workspace)
    .filter(({ kind, facts }) => kind === 'sealed' && facts.class === name)
    .map(({ facts }) => facts);
  return {
    signers: listKeys(workspace, 'signer').flatMap((description) =>
      held(workspace, deviceClass, description),
    ),
    roots: listKeys(workspace, 'root'),
    spareRoots: rootStandings(workspace).flatMap(({ name: root, rank, retired }) =>
      rank === 'spare' && !retired ? [root] : [],
    ),
    macKeys:
      deviceClass.scheme === 'symmetric'
        ? classKeys(workspace, name).map(({ description, cohort }) => ({
            name: description.name,
            cohort,
            custody: description.custody,
          }))
        : [],
    contentKeys: contentKeys(workspace, name).length,
    approvers: listKeys(workspace, 'approver'),
    unitsOnRecord: listRecords(workspace, 'units', name).length,
    lastNumber: sealed.reduce((high, facts) => max(high, BigInt(String(facts.sequence_number))), 0n),
    securityVersion: sealed.reduce((high, facts) => Math.max(high, Number(facts.security_version) || 0), 0),
    lastVersion: sealed.at(-1)?.version as string | undefined,
  };
}

function held(workspace: Workspace, deviceClass: DeviceClass, description: KeyDescription): HeldSigner[] {
  const chain = readCertificates(workspace, description.name);
  const scopes = [...deviceClass.classIds, workspace.vendorId].map((id) => `urn:uuid:${formatUuid(id)}`);
  if (!chain[0]?.subjectAltUris.some((uri) => scopes.includes(uri))) return [];
  const shape = shapeOf(description);
  return [
    {
      description,
      chain,
      leaves: readLeaves(workspace, description),
      signatureBytes: shape ? hssCost(shape).signatureBytes : RAW_SIGNATURE,
    },
  ];
}

function max(a: bigint, b: bigint): bigint {
  return a > b ? a : b;
}
