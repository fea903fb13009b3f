import { join } from 'node:path';
import { toHex } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import { openRoot, type SecretSource } from '../keys/index.ts';
import {
  appendEntry,
  filesOn,
  keyPaths,
  listKeys,
  RETIREMENT_REASONS,
  type RetirementReason,
  readableJson,
  readCertificates,
  readKey,
  readLedger,
  retirements,
  type Workspace,
} from '../workspace/index.ts';
import { issuerOf, type Revocation, saysIssuedBy, toPem, writeCrl } from '../x509/index.ts';
import { AuthorityError } from './error.ts';
import { type OfflineAuthority, readRevoked } from './offline.ts';
import type { RootAccess } from './signer.ts';

const DAY_MS = 86_400_000;
/** Days until the next list is due, where nothing else is asked for. */
export const LIST_DAYS = 30;
const KIND = 'revocation-list-made';

/** A list as it was made: PEM, and what it says. */
export interface MadeList {
  readonly pem: string;
  readonly number: number;
  readonly revoked: readonly Revocation[];
  readonly nextUpdate: Date;
}

/**
 * Makes the revocation list of a root (RFC 5280 section 5): every certificate below it whose key the ledger has as retired.
 * Complete each time, numbered by the ledger. Throws `AuthorityError` root-offline where the root is on another machine.
 */
async function makeRevocationList(
  workspace: Workspace,
  rootName: string,
  days: number,
  access: RootAccess,
): Promise<MadeList> {
  const root = readKey(workspace, rootName);
  const [certificate] = readCertificates(workspace, rootName);
  if (root.purpose !== 'root' || !certificate || root.custody === 'offline') {
    throw new AuthorityError(
      'root-offline',
      root.purpose === 'root' ? `${rootName} is kept on an offline machine.` : `${rootName} is no root.`,
      'On that machine: fieldseal authority revoke SERIAL --dir DIR --reason leaked --out FILE',
    );
  }
  const retired = retirements(workspace);
  const revoked = listKeys(workspace, 'signer').flatMap(({ name }): Revocation[] => {
    const [leaf] = readCertificates(workspace, name);
    const retirement = retired.get(name);
    if (!leaf || !retirement || !saysIssuedBy(leaf, certificate)) return [];
    const reason = RETIREMENT_REASONS[retirement.reason];
    return [{ serial: leaf.serial, date: new Date(retirement.time), reason }];
  });
  const number = nextListNumber(workspace, rootName);
  const { secret: file } = keyPaths(workspace, rootName);
  const key = await openRoot(root, { ...access, file, production: workspace.kind === 'production' });
  try {
    const made = await write(key, {
      issuer: issuerOf(certificate),
      number,
      revoked,
      days,
      now: workspace.now(),
    });
    const serials = revoked.map(({ serial }) => serial);
    const digest = toHex(sha256(new TextEncoder().encode(made.pem)));
    appendEntry(workspace, KIND, { root: rootName, number, serials, sha256: digest });
    return made;
  } finally {
    key.close();
  }
}

/** The list of a root in a file, PEM: whole, or not at all. Throws as `makeRevocationList`, and where the file is there already. */
export async function writeRevocationList(
  workspace: Workspace,
  rootName: string,
  list: { readonly file: string; readonly force?: boolean; readonly days: number },
  access: RootAccess,
): Promise<MadeList> {
  const output = workspace.files.beginOutput(list.file, { force: list.force ?? false });
  try {
    const made = await makeRevocationList(workspace, rootName, list.days, access);
    output.write(new TextEncoder().encode(made.pem));
    output.settle();
    output.commit();
    return made;
  } finally {
    output.abandon();
  }
}

/** The number that the next list of a root gets. */
export function nextListNumber(workspace: Workspace, rootName: string): number {
  return madeLists(workspace, rootName).length + 1;
}

/** The lists of a root that were made in this workspace, as the ledger has them, oldest first. */
export function madeLists(workspace: Workspace, rootName: string): { number: number; sha256: string }[] {
  return readLedger(workspace)
    .filter(({ kind, facts }) => kind === KIND && facts.root === rootName)
    .map(({ facts }) => ({ number: Number(facts.number), sha256: String(facts.sha256) }));
}

/** The same on the offline machine: enters one serial number and writes the complete list of its root. */
export async function revokeOffline(
  authority: OfflineAuthority,
  serial: string,
  options: { readonly reason: RetirementReason; readonly days: number; readonly now: Date },
  secrets: SecretSource,
): Promise<MadeList> {
  const files = filesOn();
  const folder = join(authority.folder, 'revoked');
  if (!files.exists(join(authority.folder, 'issued', `${serial}.json`))) {
    throw new AuthorityError(
      'serial-unknown',
      `This authority issued no certificate with the serial number ${serial}.`,
      'See the names of the files in its folder "issued"; "fieldseal key list --json" has the serial of each signer.',
    );
  }
  files.makeFolder(folder);
  const facts = { time: options.now.toISOString(), serial, reason: options.reason };
  files.createNew(join(folder, `${serial}.json`), readableJson(facts));
  const revoked = readRevoked(authority).map(
    ({ time, reason, ...rest }): Revocation => ({
      ...rest,
      date: new Date(time),
      reason: RETIREMENT_REASONS[reason],
    }),
  );
  const access = { file: join(authority.folder, 'root-key.pem'), secrets, production: !authority.trial };
  const key = await openRoot(authority.description, access);
  try {
    const issuer = issuerOf(authority.certificate);
    const { days, now } = options;
    // Whole minutes since 2020: rises with each list, also where a folder was restored.
    const number = Math.floor((now.getTime() - Date.UTC(2020, 0)) / 60_000);
    return await write(key, { issuer, number, revoked, days, now });
  } finally {
    key.close();
  }
}

async function write(
  key: { sign(message: Uint8Array): Promise<Uint8Array> },
  list: {
    readonly issuer: ReturnType<typeof issuerOf>;
    readonly number: number;
    readonly revoked: readonly Revocation[];
    readonly days: number;
    readonly now: Date;
  },
): Promise<MadeList> {
  const { issuer, number, revoked, days, now } = list;
  const nextUpdate = new Date(now.getTime() + days * DAY_MS);
  const der = await writeCrl({ issuer, number, thisUpdate: now, nextUpdate, revoked }, (tbs) =>
    key.sign(tbs),
  );
  return { pem: toPem('X509 CRL', der), number, revoked, nextUpdate };
}
