import { toHex } from '../../bytes/index.ts';
import { encode } from '../../cbor/index.ts';
import { digestOf, formatUuid } from '../../suit/index.ts';
import type { Json, JsonObject } from '../../workspace/index.ts';
import { type OpenedRequest, requestEnd } from './open.ts';
import { nameOf, standingJson, standingOfRequest } from './standing.ts';

/**
 * A request for people and programs (format fieldseal.request-shown/1): what it froze, decoded from the bytes that were signed,
 * and how far its approvals have come. Sizes in bytes.
 */
export function requestJson(request: OpenedRequest): JsonObject {
  const { workspace, frozen, deviceClass, requester } = request;
  const end = requestEnd(workspace, request);
  return {
    format: 'fieldseal.request-shown/1',
    trial: workspace.kind === 'trial',
    request: nameOf(request),
    request_sha256: request.sha256,
    state: end ?? (workspace.now() < request.expires ? 'open' : 'expired'),
    requester: requester.name,
    requested_by: requester.person,
    requested: request.requested.toISOString(),
    expires: request.expires.toISOString(),
    class: frozen.className,
    model: deviceClass.model,
    vendor_id: formatUuid(frozen.vendorId),
    class_id: formatUuid(frozen.classId),
    device_id: frozen.deviceId ? formatUuid(frozen.deviceId) : null,
    version: frozen.version,
    sequence_number: String(frozen.sequenceNumber),
    security_version: frozen.securityVersion,
    images: frozen.images.map(({ digest, sizeBytes, address, uri, delta }) => ({
      digest: toHex(digest),
      size_bytes: sizeBytes,
      address,
      uri: uri ?? null,
      delta: delta
        ? {
            digest: toHex(delta.digest),
            size_bytes: delta.sizeBytes,
            window_bytes: delta.windowBytes,
            precursor: { digest: toHex(delta.precursor.digest), size_bytes: delta.precursor.sizeBytes },
          }
        : null,
    })),
    components: frozen.components.map(({ name, digest, sizeBytes, started }) => ({
      name,
      digest: toHex(digest),
      size_bytes: sizeBytes,
      started,
    })),
    dependencies: frozen.dependencies.map(({ name, digest, fileDigest }) => ({
      name,
      manifest_digest: toHex(digest),
      sha256: toHex(fileDigest),
    })),
    destination: destinationOf(request),
    detached: frozen.detached,
    description: frozen.description ?? null,
    reference_uri: frozen.referenceUri ?? null,
    signers: [...frozen.signers],
    encryption: encryptionOf(request),
    manifest_digest: frozen.encryption ? null : toHex(digestOf(encode(frozen.manifest)).bytes),
    ...standingJson(standingOfRequest(workspace, request)),
    record: request.record,
  };
}

/** Where units put it: the slots of the class, by the memory map that the manifest was made under. */
function destinationOf({ deviceClass }: OpenedRequest): Json {
  const { memory } = deviceClass;
  return {
    shape: memory.shape,
    slots: memory.slots.map(({ name, address, size }) => ({ name, address, size_bytes: size })),
  };
}

function encryptionOf({ frozen }: OpenedRequest): JsonObject | null {
  const { encryption } = frozen;
  if (!encryption) return null;
  const { algorithm, kind, keyIds } = encryption;
  return { algorithm, recipients: kind, count: keyIds.length };
}
