import { toHex } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import {
  type Json,
  type JsonObject,
  listRecords,
  readCertificates,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';
import { type Certificate, fingerprint, OID, validatePath } from '../x509/index.ts';
import type { RecordedRelease } from './release.ts';
import type { Evidence } from './schema.ts';

type Seal = Evidence['seals'][number];

/** Who sealed a release: signers with their chains up to a root here, or MAC keys; each with its ceremony. */
export function sealsOf(
  workspace: Workspace,
  release: RecordedRelease,
  added: readonly JsonObject[],
): Seal[] {
  const { facts } = release;
  const signers = listOf(facts.signers).map((signer) => signerSeal(workspace, signer, null));
  const later = added.map((record) =>
    signerSeal(workspace, record.signer as JsonObject, text(record.signed)),
  );
  const macs = listOf(facts.mac_keys).map((key) => macSeal(workspace, key));
  return [...signers, ...later, ...macs];
}

function signerSeal(workspace: Workspace, signer: JsonObject, addedAt: string | null): Seal {
  const name = String(signer.name);
  const chain = readCertificates(workspace, name);
  const anchor = anchorOf(workspace, chain);
  const recorded = chain[0] && toHex(sha256(chain[0].der)) === signer.certificate_sha256;
  return {
    name,
    role: text(signer.role),
    algorithm: String(signer.algorithm),
    custody: String(signer.custody),
    fingerprint: String(signer.fingerprint),
    added: addedAt,
    chain: chain.map(certificateFacts),
    chain_holds:
      recorded === true && anchor !== undefined && fingerprint(chain[0]!.spki) === String(signer.fingerprint),
    anchor: anchor ?? null,
    ...ceremonyOf(workspace, name),
  };
}

function macSeal(workspace: Workspace, key: JsonObject): Seal {
  const name = String(key.name);
  return {
    name,
    role: text(key.cohort),
    algorithm: 'HMAC 256/256',
    custody: 'see the ceremony',
    fingerprint: String(key.check_value),
    added: null,
    chain: [],
    chain_holds: null,
    anchor: null,
    ...ceremonyOf(workspace, name),
  };
}

/** The root at which the path ends, by signatures and rights alone: the dates stand beside it. */
function anchorOf(workspace: Workspace, chain: readonly Certificate[]): string | undefined {
  if (chain.length === 0) return undefined;
  const roots = rootsOf(workspace);
  const verdict = validatePath({ chain, anchors: roots, at: undefined, purpose: OID.codeSigning });
  return verdict.ok ? verdict.anchor.label : undefined;
}

function rootsOf(workspace: Workspace) {
  return listRecords(workspace, 'ceremonies')
    .filter((name) => {
      const { act } = readRecord(workspace, 'ceremonies', [name]).facts;
      return act === 'root-made' || act === 'root-adopted';
    })
    .flatMap((label) =>
      readCertificates(workspace, label)
        .slice(0, 1)
        .map(({ subject, spki }) => ({ name: subject.der, spki, label })),
    );
}

function ceremonyOf(workspace: Workspace, name: string): Pick<Seal, 'ceremony' | 'people'> {
  const path = `ceremonies/${name}.json`;
  if (!workspace.files.exists(workspace.path(path))) return { ceremony: null, people: [] };
  const { people } = readRecord(workspace, 'ceremonies', [name]).facts;
  return { ceremony: path, people: Array.isArray(people) ? people.map(String) : [] };
}

function certificateFacts(certificate: Certificate): Seal['chain'][number] {
  const { subject, serial, notBefore, notAfter, der } = certificate;
  return {
    subject: subject.text,
    serial,
    not_before: notBefore.toISOString(),
    not_after: notAfter?.toISOString() ?? null,
    sha256: toHex(sha256(der)),
  };
}

function listOf(value: Json | undefined): JsonObject[] {
  return Array.isArray(value) ? (value as JsonObject[]) : [];
}

function text(value: Json | undefined): string | null {
  return typeof value === 'string' ? value : null;
}
