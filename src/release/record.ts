import { basename } from 'node:path';
import { toHex } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import { formatUuid } from '../suit/index.ts';
import {
  type DeviceClass,
  type JsonObject,
  type LeafUse,
  leavesJson,
  type TakenNumber,
} from '../workspace/index.ts';
import type { Approved } from './approval/seal-order.ts';
import { standingJson } from './approval/standing.ts';
import type { Sealer } from './blocks.ts';
import type { DeliveredImage } from './delivered.ts';
import { deltaJson } from './delta.ts';
import { partUri, referenceUriOf } from './manifest.ts';
import { NO_PARTS, type OpenedParts, partsJson } from './parts.ts';
import { type RecipientWeight, weightJson } from './recipients.ts';
import type { SealRequest } from './request.ts';
import type { ChosenSigner } from './signer.ts';

/** What was written and where. */
export interface SealedFiles {
  readonly envelope: { readonly file: string; readonly size_bytes: number; readonly sha256: string };
  /** In slot order; `file` is the detached image, where it had to be written. */
  readonly images: readonly { readonly uri: string; readonly file: string | null }[];
}

/** Everything known of a release once it is sealed. */
export interface Release {
  readonly request: SealRequest & OpenedParts;
  readonly deviceClass: DeviceClass;
  readonly images: readonly DeliveredImage[];
  /** Whom content keys were sent to, where the images are encrypted. */
  readonly recipients: RecipientWeight | undefined;
  /** The request that it was sealed under, and who approved it, where the class asks for that. */
  readonly approved: Approved | undefined;
  readonly sealer: Sealer;
  readonly taken: TakenNumber;
  readonly sealedAt: Date;
  readonly manifestDigest: Uint8Array;
  /** One-time leaves that the signatures used up. */
  readonly leaves: readonly LeafUse[];
  readonly files: SealedFiles;
}

/** A number where JSON keeps it exactly, decimal text beyond 2^53. */
function numberJson(value: bigint): number | string {
  return value <= Number.MAX_SAFE_INTEGER ? Number(value) : String(value);
}

/** Facts that result and record share; the record keeps the number as text. */
function commonFacts(release: Release): JsonObject {
  const { request, deviceClass, taken } = release;
  return {
    class: deviceClass.name,
    model: deviceClass.model,
    class_id: formatUuid(deviceClass.classId),
    vendor_id: formatUuid(request.workspace.vendorId),
    device_id: request.deviceId ? formatUuid(request.deviceId) : null,
    version: request.version,
    sequence_number: String(taken.number),
    security_version: request.securityVersion ?? 0,
    scheme: deviceClass.scheme,
    profile: deviceClass.profile.name,
    manifest_digest: toHex(release.manifestDigest),
    reference_uri: referenceUriOf(request, deviceClass, taken.number),
    detached: request.detached ?? false,
    encryption: encryptionFacts(release),
    approval: approvalFacts(release),
    ...(hasParts(release) && partsJson(request.parts!, (part) => partUri(request, part))),
  };
}

/** The record releases/CLASS/NUMBER.json (format fieldseal.release/1): what was sealed, from what, by which key. */
export function releaseRecord(release: Release): JsonObject & { format: string } {
  const { request, taken, sealedAt, files } = release;
  return {
    format: 'fieldseal.release/1',
    ...commonFacts(release),
    trial: request.workspace.kind === 'trial',
    sealed: sealedAt.toISOString(),
    counter_lineage: taken.lineage,
    workspace_lineage: request.workspace.lineage,
    envelope: { ...files.envelope, file: basename(files.envelope.file) },
    images: release.images.map((image, i) => ({
      ...imageFacts(image),
      uri: files.images[i]!.uri,
      source: {
        file: basename(image.input.path),
        format: image.flat.format,
        size_bytes: image.file.size,
        sha256: image.fileSha256,
      },
      erased_value: release.deviceClass.memory.flash.erased_value,
      left_out: image.flat.leftOut.map(({ name, address, length }) => ({
        name,
        address,
        size_bytes: length,
      })),
      gaps: image.flat.gaps.map(({ address, length }) => ({ address, size_bytes: length })),
    })),
    ...sealerFacts(release.sealer),
    leaves: leavesJson(release.leaves),
    description: request.description ?? null,
  };
}

/** The result of sealing as `seal --json` gives it (format fieldseal.seal/1). */
export function sealJson(release: Release, cautions: readonly string[]): JsonObject {
  const { request, files, taken } = release;
  const images = release.images.map((image, i) => ({
    ...imageFacts(image),
    uri: files.images[i]!.uri,
    file: files.images[i]!.file,
    left_out: image.flat.leftOut.map(({ name, address, length }) => ({ name, address, size_bytes: length })),
  }));
  return {
    format: 'fieldseal.seal/1',
    trial: request.workspace.kind === 'trial',
    ...commonFacts(release),
    sequence_number: numberJson(taken.number),
    image: images[0]!,
    images,
    envelope: files.envelope,
    ...sealerFacts(release.sealer),
    leaves: leavesJson(release.leaves),
    record: `releases/${release.deviceClass.name}/${taken.number}.json`,
    cautions,
  };
}

function hasParts({ request: { parts = NO_PARTS } }: Release): boolean {
  return parts.components.length + parts.dependencies.length > 0;
}

function approvalFacts({ approved }: Release): JsonObject | null {
  if (!approved) return null;
  const { opened, standing } = approved;
  return {
    request: opened.record,
    request_sha256: opened.sha256,
    requester: opened.requester.name,
    requested_by: opened.requester.person,
    requested: opened.requested.toISOString(),
    ...standingJson(standing),
  };
}

/** What the ledger says of a release's approvals. */
export function approvalSummary(approved: Approved | undefined): JsonObject {
  if (!approved) return {};
  const { opened, standing } = approved;
  const counted = standing.approvals.filter(({ fault }) => fault === undefined);
  return {
    request_sha256: opened.sha256,
    requested_by: opened.requester.person,
    approved_by: counted.map(({ person }) => person!),
  };
}

function encryptionFacts({ recipients, deviceClass }: Release): JsonObject | null {
  return recipients
    ? { algorithm: deviceClass.profile.content.name, recipients: weightJson(recipients) }
    : null;
}

function imageFacts(image: DeliveredImage) {
  const { flat, digest, delivered, encryption } = image;
  return {
    slot: flat.slot,
    digest: toHex(digest),
    size_bytes: flat.size,
    address: flat.address,
    source_format: flat.format,
    ciphertext: encryption ? { digest: toHex(delivered.digest), size_bytes: delivered.size } : null,
    delta: deltaJson(image),
  };
}

function sealerFacts(sealer: Sealer): JsonObject {
  if (sealer.kind === 'mac') {
    return {
      signer: null,
      signers: [],
      open: [],
      mac_keys: sealer.keys.map(({ classKey }) => ({
        name: classKey.description.name,
        cohort: classKey.cohort ?? null,
        check_value: classKey.description.fingerprint,
      })),
    };
  }
  const { hands, standing } = sealer;
  const signers = hands.map(({ chosen }) => signerJson(chosen));
  return {
    signer: signers[0]!,
    signers,
    open: standing && !standing.satisfied ? standing.open.map(({ text }) => text) : [],
    mac_keys: [],
  };
}

/** A signer and its certificate, as records and results show them. */
export function signerJson({ description, leaf }: ChosenSigner): JsonObject {
  return {
    name: description.name,
    role: leaf.role ?? null,
    algorithm: description.algorithm,
    custody: description.custody,
    fingerprint: description.fingerprint,
    subject: leaf.subject.text,
    serial: leaf.serial,
    generation: leaf.generation ?? null,
    not_before: leaf.notBefore.toISOString(),
    not_after: leaf.notAfter?.toISOString() ?? null,
    certificate_sha256: toHex(sha256(leaf.der)),
  };
}
