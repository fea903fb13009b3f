import { toHex } from '../bytes/index.ts';
import type { KeyType } from '../crypto/index.ts';
import {
  createSigningKey,
  type KeyDescription,
  type KeyPlace,
  readKeyDescription,
  readRootFile,
  type SecretSource,
} from '../keys/index.ts';
import {
  addCertificates,
  addKey,
  requireFreeKeyName,
  type Workspace,
  type WrittenRecord,
} from '../workspace/index.ts';
import {
  type Certificate,
  fingerprint,
  issueCertificate,
  isTrial,
  parseCertificate,
  writeName,
} from '../x509/index.ts';
import { type Attendance, type CeremonyExtras, recordCeremony } from './ceremony.ts';
import { AuthorityError } from './error.ts';

// COSE names of what a root of each key type signs with (RFC 9864, RFC 8778).
const ALGORITHM = { p256: 'ESP256', ed25519: 'Ed25519', 'hss-lms': 'HSS-LMS' } as const;

/** A root on record: its key's description, its certificate, and the record of the ceremony. */
export interface MadeRoot {
  readonly description: KeyDescription;
  readonly certificate: Certificate;
  readonly ceremony: WrittenRecord;
}

/** What a root is for. */
export interface RootUse {
  /** It is provisioned beside the root in use, to take its place when that one leaks; it certifies trust signers till then. */
  readonly spare?: boolean | undefined;
}

/** A root to be made here. */
export interface NewRoot extends Attendance, RootUse {
  readonly name: string;
  readonly type: KeyType;
  readonly place: KeyPlace;
}

/**
 * Makes a root authority: key, self-signed certificate without end (units take its name and key as anchor, not its dates),
 * ceremony record. Throws `AuthorityError` root-custody in a production workspace for anything but a token.
 */
export async function createRoot(
  workspace: Workspace,
  root: NewRoot,
  secrets: SecretSource,
): Promise<MadeRoot> {
  const trial = workspace.kind === 'trial';
  if (!trial && root.place.custody !== 'token') throw rootInFile();
  requireFreeKeyName(workspace, root.name);
  const naming = { name: root.name, purpose: 'root', trial, created: workspace.now() } as const;
  const made = await createSigningKey({ ...naming, type: root.type, place: root.place }, secrets);
  try {
    const der = await selfSigned(workspace.vendorDomain, root.name, made.key, trial, workspace.now());
    const certificate = parseCertificate(der);
    addCertificates(workspace, root.name, [der]);
    addKey(workspace, made.description);
    const ceremony = recordCeremony(
      workspace,
      'root-made',
      made.description,
      made.evidence,
      root,
      certificate,
      useOf(root),
    );
    return { description: made.description, certificate, ceremony };
  } finally {
    made.key.close();
  }
}

/**
 * Takes in the certificate of a root that is kept on an offline machine. `typedFingerprint` is what was read aloud from
 * there. Throws `KeyError` exchange-..., `AuthorityError` certificate-unsuitable for a trial root in production.
 */
export function adoptRoot(
  workspace: Workspace,
  file: string,
  typedFingerprint: string,
  root: Attendance & RootUse & { readonly name: string },
): MadeRoot {
  const certificate = readRootFile(file, typedFingerprint);
  if (isTrial(certificate) !== (workspace.kind === 'trial')) throw wrongKind(workspace, certificate);
  requireFreeKeyName(workspace, root.name);
  const description = readKeyDescription({
    format: 'fieldseal.key/1',
    name: root.name,
    purpose: 'root',
    trial: workspace.kind === 'trial',
    created: workspace.now().toISOString(),
    custody: 'offline',
    algorithm: ALGORITHM[certificate.keyType!],
    spki: toHex(certificate.spki),
    fingerprint: fingerprint(certificate.spki),
  });
  addCertificates(workspace, root.name, [certificate.der]);
  addKey(workspace, description);
  const ceremony = recordCeremony(
    workspace,
    'root-adopted',
    description,
    undefined,
    root,
    certificate,
    useOf(root),
  );
  return { description, certificate, ceremony };
}

/** A root's own certificate: `O` the vendor's domain, `CN` the root's name, no well-defined end (RFC 5280 4.1.2.5). */
export function selfSigned(
  vendorDomain: string,
  name: string,
  key: { readonly publicKey: Uint8Array; sign(message: Uint8Array): Promise<Uint8Array> },
  trial: boolean,
  now: Date,
): Promise<Uint8Array> {
  const subject = writeName([
    ['O', vendorDomain.slice(0, 64)],
    ['CN', name],
  ]);
  return issueCertificate(
    { profile: 'root', subject, publicKey: key.publicKey, notBefore: now, notAfter: null, trial },
    (tbs) => key.sign(tbs),
  );
}

function useOf({ spare }: RootUse): CeremonyExtras {
  return spare ? { facts: { spare }, summary: { spare } } : { facts: {}, summary: {} };
}

function rootInFile(): AuthorityError {
  return new AuthorityError(
    'root-custody',
    'A production workspace takes its root from a token or from an offline machine, not from a file on this one.',
    'Use --custody token with --token, or on a machine without network: fieldseal authority create; then here: fieldseal root adopt.',
  );
}

export function wrongKind(workspace: Workspace, certificate: Certificate): AuthorityError {
  const what = isTrial(certificate) ? 'a trial root' : 'a production root';
  return new AuthorityError(
    'certificate-unsuitable',
    `This is ${what}, and the workspace is a ${workspace.kind} workspace. The two never mix.`,
    'Make a root of the right kind on the offline machine, or use the other workspace.',
  );
}
