import { toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { openApprover } from '../../keys/index.ts';
import {
  type DeviceClass,
  foreseeNumber,
  type JsonObject,
  keyPaths,
  readClass,
  readKey,
  type TakenNumber,
  takeNumber,
  writeRecord,
} from '../../workspace/index.ts';
import { type DeliveredImage, plain } from '../delivered.ts';
import { requireDeltas, withDeltas, withWholeImageBeside } from '../delta.ts';
import { SealError } from '../error.ts';
import { hashImages, openImages, requireUnchanged } from '../images.ts';
import { closeParts, openParts, requirePartsUnchanged } from '../parts.ts';
import { encryptsImages, recipientKeyIds } from '../recipients.ts';
import type { KeyRequest, SealRequest } from '../request.ts';
import { requireSensible } from '../request-check.ts';
import { chooseSigners } from '../signer.ts';
import { encodeFrozen, type FrozenRequest } from './frozen.ts';
import { type OpenedRequest, openRequest } from './open.ts';
import { findPerson, type Person } from './people.ts';
import { manifestOf } from './rebuild.ts';
import { signStatement } from './statement.ts';

const DAY = 86_400_000;
/** How long a request and its approvals hold where nothing else is asked for, and at most, in days. */
const REQUEST_DAYS = 14;
const MOST_REQUEST_DAYS = 90;

/** What is to be sealed, once it is approved. */
export interface FreezeRequest extends Omit<SealRequest, 'out' | 'force' | 'unfinished'> {
  /** The key of the person who asks. */
  readonly requester: string;
  /** Days until it expires. */
  readonly days?: number | undefined;
}

/**
 * Freezes what is to be sealed: reads and hashes the images, takes the sequence number for good, makes the manifest, and has
 * the requester sign all of it. Nothing is sealed. Throws `SealError`, `ImageError`, `KeyError`, `WorkspaceError`; until
 * the number is taken nothing is changed.
 */
export async function freezeRequest(
  asked: FreezeRequest,
): Promise<{ opened: OpenedRequest; cautions: readonly string[] }> {
  const request = withWholeImageBeside(asked);
  const { workspace } = request;
  const deviceClass = await readClass(workspace, request.className);
  requireSensible({ ...request, out: '' });
  requireDeltas(request, deviceClass);
  const days = requireDays(request.days ?? REQUEST_DAYS);
  foreseeNumber(workspace, deviceClass, numberOptions(request));
  if (deviceClass.scheme === 'asymmetric') chooseSigners(workspace, deviceClass, request.signers ?? [], true);
  const person = requireOwnKey(request, request.requester);
  const files = await prepare(request, deviceClass);
  const key = await openPersonKey(request, person);
  try {
    const taken = takeNumber(workspace, deviceClass, numberOptions(request));
    const issued = workspace.now();
    const term = { issued, expires: new Date(issued.getTime() + days * DAY) };
    const frozen = freeze(request, deviceClass, files, taken);
    const bytes = await signStatement(key, 'request', encodeFrozen(frozen), term);
    record(request, person, frozen, bytes, term.expires);
    const opened = await openRequest(workspace, `${frozen.className}/${frozen.sequenceNumber}`);
    return { opened, cautions: taken.cautions };
  } finally {
    key.close();
  }
}

/** A person's key in this workspace by its name. Throws `SealError` approver-unfit. */
export function requireOwnKey({ workspace }: Pick<KeyRequest, 'workspace'>, name: string): Person {
  const description = readKey(workspace, name);
  const person = findPerson(workspace, description.fingerprint);
  const why =
    description.purpose !== 'approver'
      ? `it is a ${description.purpose} key`
      : !person
        ? 'the ledger does not record whose it is'
        : person.retired
          ? 'it was retired'
          : person.trial && workspace.kind === 'production'
            ? 'it was made for trial'
            : undefined;
  if (person && !why) return person;
  throw new SealError(
    'approver-unfit',
    `${name} can neither ask nor approve here: ${why}; nothing was signed`,
    'make a key for the person: fieldseal approver create NAME --person "FULL NAME"',
  );
}

/** Opens a person's key; asks for its passphrase or PIN. Throws `KeyError`. */
export function openPersonKey({ workspace, secrets, module }: KeyRequest, { name }: Person) {
  return openApprover(readKey(workspace, name), {
    file: keyPaths(workspace, name).secret,
    secrets,
    module,
    production: workspace.kind === 'production',
  });
}

/** What is frozen of the files: images with their deltas, components, envelopes of other authors. */
type Files = Pick<FrozenRequest, 'images' | 'components' | 'dependencies'>;

async function prepare(request: FreezeRequest, deviceClass: DeviceClass): Promise<Files> {
  const { workspace, components, dependencies } = request;
  const parts = openParts(workspace, deviceClass, components, dependencies);
  try {
    const opened = openImages(deviceClass, request.images);
    try {
      const stop = new AbortController();
      const images = await hashImages(opened, stop.signal, (step) => request.progress?.(step));
      const made = withDeltas(request, deviceClass, images.map(plain));
      try {
        requireUnchanged(images);
        requirePartsUnchanged(parts);
        return {
          images: made.images.map(frozenImage),
          components: parts.components,
          dependencies: parts.dependencies,
        };
      } finally {
        made.close();
      }
    } finally {
      for (const { file } of opened) file.close();
    }
  } finally {
    closeParts(parts);
  }
}

function frozenImage({ digest, flat, input, delta }: DeliveredImage): FrozenRequest['images'][number] {
  return { digest, sizeBytes: flat.size, address: flat.address, uri: input.uri, delta };
}

function freeze(
  request: FreezeRequest,
  deviceClass: DeviceClass,
  files: Files,
  { number, lineage }: TakenNumber,
): FrozenRequest {
  const { workspace } = request;
  const facts = {
    workspace: workspace.lineage,
    counter: lineage,
    className: deviceClass.name,
    vendorId: workspace.vendorId,
    classId: deviceClass.classId,
    deviceId: request.deviceId,
    version: request.version,
    sequenceNumber: number,
    securityVersion: request.securityVersion ?? 0,
    ...files,
    detached: request.detached ?? false,
    withoutText: request.withoutText ?? false,
    description: request.description,
    referenceUri: request.referenceUri,
    signers: request.signers ?? [],
    encryption: encryptsImages(deviceClass)
      ? {
          algorithm: deviceClass.profile.content.name,
          kind: deviceClass.recipients,
          keyIds: recipientKeyIds(workspace, deviceClass, request.deviceId),
        }
      : undefined,
    approvals: deviceClass.approvals,
  };
  const { manifest, severed } = manifestOf(workspace, deviceClass, facts);
  return { ...facts, manifest, severed };
}

function record(
  { workspace }: FreezeRequest,
  { name, person, fingerprint }: Person,
  { className, sequenceNumber }: FrozenRequest,
  bytes: Uint8Array,
  expires: Date,
): void {
  const common: JsonObject = {
    class: className,
    sequence_number: String(sequenceNumber),
    request_sha256: toHex(sha256(bytes)),
  };
  writeRecord(workspace, {
    folder: 'requests',
    name: [className, String(sequenceNumber)],
    kind: 'request-made',
    facts: { format: 'fieldseal.request/1', ...common, request_hex: toHex(bytes) },
    summary: {
      ...common,
      requester: name,
      person,
      key_fingerprint: fingerprint,
      expires: expires.toISOString(),
    },
  });
}

function requireDays(days: number): number {
  if (days >= 1 && days <= MOST_REQUEST_DAYS) return days;
  throw new SealError(
    'request-days',
    `a request holds for 1 to ${MOST_REQUEST_DAYS} days; ${days} were asked for`,
    `leave --days out for ${REQUEST_DAYS}`,
  );
}

function numberOptions({ sequence, allowJump }: FreezeRequest) {
  return { ...(sequence !== undefined && { sequence }), ...(allowJump !== undefined && { allowJump }) };
}
