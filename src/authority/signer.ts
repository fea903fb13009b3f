import { fromHex } from '../bytes/index.ts';
import type { KeyType } from '../crypto/index.ts';
import {
  type CustodySigner,
  createSigningKey,
  type KeyAccess,
  type KeyDescription,
  type KeyPlace,
  type MadeKey,
  openRoot,
  readReplyFile,
  type SecretSource,
  writeRequestFile,
} from '../keys/index.ts';
import { formatUuid } from '../suit/index.ts';
import {
  addCertificates,
  addKey,
  appendEntry,
  type DeviceClass,
  keyPaths,
  type LeafUse,
  leafUsesOf,
  leavesJson,
  listKeys,
  readCertificates,
  readKey,
  requireFreeKeyName,
  type Workspace,
  type WrittenRecord,
} from '../workspace/index.ts';
import {
  type Certificate,
  issueCertificate,
  issuerOf,
  isTrial,
  judgeSigner,
  parseCertificate,
  purposeOf,
  type SignerPurpose,
  type SignerRights,
  writeName,
  writeRequest,
} from '../x509/index.ts';
import { type Attendance, type CeremonyExtras, recordCeremony } from './ceremony.ts';
import { AuthorityError } from './error.ts';
import { type HssChoice, hssFacts, makeHssSigner, requireHssCustody } from './hss-signer.ts';

/** A signer to be made. */
export interface NewSigner extends Attendance {
  readonly name: string;
  readonly type: KeyType;
  /** Goes with the type 'hss-lms'. */
  readonly hss?: HssChoice | undefined;
  readonly place: KeyPlace;
  /** Name of the root that certifies it. */
  readonly root: string;
  /** Classes it may sign for. */
  readonly classes: readonly DeviceClass[];
  /** Whether it may sign for every class of the vendor, those to come included; in a trial workspace only. */
  readonly vendorWide: boolean;
  /** Days of validity. */
  readonly days: number;
  readonly generation: number;
  /** What it signs as, where units ask for roles. */
  readonly role?: string | undefined;
  /** What it signs. Default: releases. */
  readonly signs?: SignerPurpose | undefined;
}

/** A signer made: with its certificate, or, under an offline root, with the request file to carry there. */
export interface MadeSigner {
  readonly description: KeyDescription;
  readonly ceremony: WrittenRecord;
  readonly certificate: Certificate | undefined;
  readonly requestFile: string | undefined;
}

/** How the root is reached when it certifies a signer. */
export type RootAccess = Omit<KeyAccess, 'file' | 'production'>;

/** Days of validity where nothing else is asked for: two years and a margin for the next ceremony. */
export const SIGNER_DAYS = 825;
const DAY_MS = 86_400_000;

/**
 * Makes a signer's key and has the root certify it; under an offline root writes a request instead. Throws
 * `AuthorityError` root-missing, scope-missing, and `KeyError`.
 */
export async function createSigner(
  workspace: Workspace,
  signer: NewSigner,
  secrets: SecretSource,
  rootAccess: RootAccess,
): Promise<MadeSigner> {
  requireFreeKeyName(workspace, signer.name);
  const root = requireRoot(workspace, signer.root);
  const { generation, role, signs: purpose } = signer;
  const rights = { scopes: scopesOf(workspace, signer), generation, role, purpose };
  if (signer.hss) requireHssCustody(workspace, signer.place, signer.hss);
  const rootKey = root.custody === 'offline' ? undefined : await openRootKey(workspace, root, rootAccess);
  try {
    const made = await makeKey(workspace, signer, secrets);
    try {
      return rootKey
        ? await certifyHere(workspace, signer, made, rights, rootKey)
        : await writeSignerRequest(workspace, signer, made, rights);
    } finally {
      made.key.close();
    }
  } finally {
    rootKey?.close();
  }
}

/**
 * Takes in the certificate that the offline machine made for a signer. Throws `KeyError` exchange-...,
 * `AuthorityError` certificate-unsuitable where it is not a signer's certificate of this kind of workspace.
 */
export function acceptSigner(workspace: Workspace, name: string, file: string): Certificate {
  const description = readKey(workspace, name);
  const roots = knownRoots(workspace);
  const reply = readReplyFile(file, {
    requested: fromHex(description.spki ?? ''),
    anchors: roots.map((root) => ({ name: root.subject.der, spki: root.spki })),
    at: workspace.now(),
  });
  requireSignerCertificate(workspace, reply.certificate);
  addCertificates(
    workspace,
    name,
    reply.chain.map(({ der }) => der),
  );
  appendEntry(workspace, 'signer-certified', {
    key: name,
    fingerprint: description.fingerprint,
    certificate_serial: reply.certificate.serial,
  });
  return reply.certificate;
}

function makeKey(
  workspace: Workspace,
  signer: NewSigner,
  secrets: SecretSource,
): Promise<MadeKey<CustodySigner>> {
  if (signer.hss) return makeHssSigner(workspace, signer, signer.hss, secrets);
  const { name, type, place } = signer;
  const trial = workspace.kind === 'trial';
  return createSigningKey({ name, purpose: 'signer', trial, created: workspace.now(), type, place }, secrets);
}

function extrasOf({ hss, place }: NewSigner, uses: readonly LeafUse[] = []): CeremonyExtras {
  if (!hss) return { facts: {}, summary: {} };
  const facts = hssFacts(hss, place.custody);
  const leaves = leavesJson(uses);
  const exception = facts.custody_exception;
  return {
    facts: { hss_lms: facts, leaves },
    summary: { ...(exception && { custody_exception: exception }), ...(uses.length > 0 && { leaves }) },
  };
}

function knownRoots(workspace: Workspace): Certificate[] {
  return listKeys(workspace, 'root').flatMap(({ name }) => readCertificates(workspace, name).slice(0, 1));
}

function requireRoot(workspace: Workspace, name: string): KeyDescription {
  if (workspace.files.exists(keyPaths(workspace, name).description)) {
    const description = readKey(workspace, name);
    if (description.purpose === 'root') return description;
  }
  throw new AuthorityError(
    'root-missing',
    `This workspace has no root called ${name}, so nobody could certify the signer.`,
    'Make it first: fieldseal root create; or take in an offline one: fieldseal root adopt.',
  );
}

function openRootKey(workspace: Workspace, root: KeyDescription, access: RootAccess): Promise<CustodySigner> {
  const { secret } = keyPaths(workspace, root.name);
  return openRoot(root, { ...access, file: secret, production: workspace.kind === 'production' });
}

/** Scope URIs of a signer: `urn:uuid:` of each class, and of the vendor where it may sign for all. */
function scopesOf(workspace: Workspace, { classes, vendorWide }: NewSigner): string[] {
  const ids = [...classes.map(({ classId }) => classId), ...(vendorWide ? [workspace.vendorId] : [])];
  if (ids.length > 0 && (!vendorWide || workspace.kind === 'trial')) {
    return ids.map((id) => `urn:uuid:${formatUuid(id)}`);
  }
  throw new AuthorityError(
    'scope-missing',
    'In a production workspace a signer signs for named classes only: its leak then reaches no others.',
    'Name them: fieldseal signer create NAME --class CLASS (again for each further class).',
  );
}

async function certifyHere(
  workspace: Workspace,
  signer: NewSigner,
  made: MadeKey<CustodySigner>,
  rights: SignerRights,
  rootKey: CustodySigner,
): Promise<MadeSigner> {
  const [rootCertificate] = readCertificates(workspace, signer.root);
  const now = workspace.now();
  const der = await issueCertificate(
    {
      profile: 'signer',
      subject: subjectOf(workspace, signer),
      issuer: issuerOf(rootCertificate!),
      publicKey: made.key.publicKey,
      notBefore: now,
      notAfter: new Date(now.getTime() + signer.days * DAY_MS),
      trial: workspace.kind === 'trial',
      ...rights,
    },
    (tbs) => rootKey.sign(tbs),
  );
  const certificate = parseCertificate(der);
  addCertificates(workspace, signer.name, [der]);
  addKey(workspace, made.description);
  const ceremony = recordCeremony(
    workspace,
    'signer-made',
    made.description,
    made.evidence,
    signer,
    certificate,
    extrasOf(signer),
  );
  return { description: made.description, ceremony, certificate, requestFile: undefined };
}

async function writeSignerRequest(
  workspace: Workspace,
  signer: NewSigner,
  made: MadeKey<CustodySigner>,
  rights: SignerRights,
): Promise<MadeSigner> {
  const uses: LeafUse[] = [];
  const request = await writeRequest(
    {
      profile: 'signer',
      subject: subjectOf(workspace, signer),
      publicKey: made.key.publicKey,
      trial: workspace.kind === 'trial',
      ...rights,
    },
    async (info) => {
      const signature = await made.key.sign(info);
      uses.push(...leafUsesOf(made.description, signature));
      return signature;
    },
  );
  const requestFile = workspace.path('certificates', `${signer.name}.request.pem`);
  writeRequestFile(requestFile, request);
  addKey(workspace, made.description);
  const ceremony = recordCeremony(
    workspace,
    'signer-made',
    made.description,
    made.evidence,
    signer,
    undefined,
    extrasOf(signer, uses),
  );
  return { description: made.description, ceremony, certificate: undefined, requestFile };
}

function subjectOf(workspace: Workspace, signer: NewSigner) {
  return writeName([
    ['O', workspace.vendorDomain.slice(0, 64)],
    ['CN', signer.name],
  ]);
}

function requireSignerCertificate(workspace: Workspace, certificate: Certificate): void {
  const verdict = judgeSigner(certificate, {
    scopes: certificate.subjectAltUris,
    minimumGeneration: 0,
    denied: [],
    purpose: purposeOf(certificate),
  });
  const sameKind = isTrial(certificate) === (workspace.kind === 'trial');
  if (verdict.ok && sameKind) return;
  throw new AuthorityError(
    'certificate-unsuitable',
    verdict.ok
      ? `The certificate is not one of a ${workspace.kind} workspace.`
      : `The certificate is not a signer's: ${verdict.code}.`,
    'Have the offline machine certify the request again, as "fieldseal authority sign" does it.',
  );
}
