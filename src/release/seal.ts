import { existsSync, realpathSync } from 'node:fs';
import { basename, dirname, join, resolve } from 'node:path';
import { toHex } from '../bytes/index.ts';
import {
  type DeviceClass,
  type FileSource,
  fileSource,
  finishRecords,
  type JsonObject,
  leavesJson,
  type Output,
  readClass,
  type TakenNumber,
  type TakeOptions,
  WorkspaceError,
  writeRecord,
} from '../workspace/index.ts';
import { openRequest } from './approval/open.ts';
import {
  type Approved,
  requestOf,
  requireAsFrozen,
  requireManifestAsFrozen,
  type SealOrder,
} from './approval/seal-order.ts';
import { requireApproved } from './approval/standing.ts';
import { closeSealer, leavesUsed, openSealer, type Sealer, sealBlocks } from './blocks.ts';
import { cautionsFor, highestSecurityVersion } from './cautions.ts';
import { type DeliveredImage, encrypt, plain } from './delivered.ts';
import { requireDeltas, withDeltas, withWholeImageBeside } from './delta.ts';
import { SealError } from './error.ts';
import { hashImages, openImages, requireUnchanged } from './images.ts';
import { buildEnvelope, buildManifest, type IntegratedPayload, payloadsOf, urisOf } from './manifest.ts';
import { approvedNumber, type NumberSource, nextNumber } from './number.ts';
import { closeParts, NO_PARTS, type OpenedParts, openParts, requirePartsUnchanged } from './parts.ts';
import { encryptsImages, type OpenRecipients, openRecipients } from './recipients.ts';
import { approvalSummary, type Release, releaseRecord, sealJson } from './record.ts';
import type { SealProgress, SealRequest } from './request.ts';
import { requireSensible } from './request-check.ts';
import { requireRights } from './rights-check.ts';
import { checkImage, checkWritten, requireWritten } from './self-check.ts';

/** A sealed release: the result as JSON, and what was known while it was made. */
export interface Sealed {
  readonly json: JsonObject;
  readonly cautions: readonly string[];
}

/** Stands in for a number that is not taken yet. */
const FORESEEN = 1n;

/**
 * Seals a release: image to digest to manifest to signature or MAC to envelope, streaming, so that memory does not
 * grow with the image. In this order, so that a crash or a full disk at any point loses nothing:
 * 1. foresee the number; read, lay out and check the images; open the keys; hash the images, and encrypt them where the
 *    class asks for that, into a hidden file where the ciphertext is detached. Nothing is changed yet.
 * 2. take the sequence number. From here on it is used, whatever happens.
 * 3. write the envelope beside its place, durably; read it back and check it as a stranger would.
 * 4. enter the release in the ledger, then write its record. A crash up to here leaves at most a hidden part file,
 *    which the next seal to that place removes.
 * 5. give the envelope its name. A crash before this leaves a release on record that nobody has: seal again.
 * So an envelope that exists is always on record. Throws `SealError`, `ImageError`, `KeyError`, `WorkspaceError`.
 */
export async function seal(asked: SealRequest): Promise<Sealed> {
  const request = withWholeImageBeside(asked);
  const deviceClass = await readClass(request.workspace, request.className);
  requireNoApproval(deviceClass);
  return sealUnder(request, deviceClass, undefined);
}

/**
 * Seals what a request froze, once enough people approved it. The order is that of `seal`; the number is the request's, and
 * it is used up in the place of being taken. After that the approvals are judged once more, so that one that was withdrawn
 * meanwhile does not count. Throws as `seal`, and `SealError` approvals-too-few, not-as-requested, request-....
 */
export async function sealApproved(order: SealOrder): Promise<Sealed> {
  const { workspace } = order;
  const opened = await openRequest(workspace, order.request);
  const approved = { opened, standing: requireApproved(workspace, opened, workspace.now()) };
  return sealUnder(requestOf(order, opened), opened.deviceClass, approved);
}

async function sealUnder(
  request: SealRequest,
  deviceClass: DeviceClass,
  approved: Approved | undefined,
): Promise<Sealed> {
  requireSensible(request);
  requireDeltas(request, deviceClass);
  requireFreePlaces(request);
  const number = approved
    ? approvedNumber(request.workspace, approved)
    : nextNumber(request.workspace, deviceClass, numberOptions(request));
  number.foresee();
  const recipients = encryptsImages(deviceClass) ? await openRecipients(request, deviceClass) : undefined;
  try {
    return await sealFor({ request, deviceClass, recipients, approved, number });
  } finally {
    recipients?.close();
  }
}

/** A request whose parts are open. */
type OpenRequest = SealRequest & OpenedParts;

/** What sealing is done under, opened once. */
interface Sealing {
  readonly request: OpenRequest;
  readonly deviceClass: DeviceClass;
  readonly recipients: OpenRecipients | undefined;
  readonly approved: Approved | undefined;
  readonly number: NumberSource;
}

async function sealFor(sealing: Sealing): Promise<Sealed> {
  const { request, deviceClass } = sealing;
  const parts = openParts(request.workspace, deviceClass, request.components, request.dependencies);
  try {
    return await sealWith({ ...sealing, request: { ...request, parts } });
  } finally {
    closeParts(parts);
  }
}

async function sealWith(sealing: Sealing): Promise<Sealed> {
  const { request, deviceClass, recipients, approved } = sealing;
  const opened = openImages(deviceClass, request.images);
  const delivered: DeliveredImage[] = [];
  try {
    const sealer = await openBeside(request, deviceClass, async (signal, progress) => {
      if (!recipients) {
        delivered.push(...(await hashImages(opened, signal, progress)).map(plain));
        return;
      }
      for (const [i, image] of opened.entries()) {
        const work = { path: imagePath(request, i), signal, progress };
        delivered.push(await encrypt(request, deviceClass, image, recipients, work));
      }
    });
    try {
      if (approved) requireAsFrozen(approved.opened, delivered);
      const made = withDeltas(request, deviceClass, delivered);
      try {
        if (approved) requireManifestAsFrozen(approved.opened, request, made.images);
        return await sealPrepared(sealing, made.images, sealer);
      } finally {
        made.close();
      }
    } finally {
      closeSealer(sealer);
    }
  } finally {
    for (const image of delivered) image.discard();
    for (const { file } of opened) file.close();
  }
}

// Deriving a key from a passphrase takes about as long as hashing 200 MiB, and on another thread.
async function openBeside(
  request: SealRequest,
  deviceClass: DeviceClass,
  work: (signal: AbortSignal, progress: (step: SealProgress) => void) => Promise<void>,
): Promise<Sealer> {
  const stop = new AbortController();
  // Nothing is told over a prompt: what happens meanwhile is told once the keys are open.
  let untold: SealProgress | undefined;
  let open = false;
  const report = (step: SealProgress) => {
    untold = open ? undefined : step;
    if (open) request.progress?.(step);
  };
  const opening = openSealer(request, deviceClass);
  opening.then(
    () => (open = true),
    () => stop.abort(),
  );
  const [keys, done] = await Promise.allSettled([opening, work(stop.signal, report)]);
  if (keys.status === 'rejected') throw keys.reason;
  if (done.status === 'rejected') {
    closeSealer(keys.value);
    throw done.reason;
  }
  if (untold) request.progress?.(untold);
  return keys.value;
}

async function sealPrepared(
  { request, deviceClass, recipients, approved, number }: Sealing,
  images: readonly DeliveredImage[],
  sealer: Sealer,
): Promise<Sealed> {
  const { workspace } = request;
  const securityBefore = highestSecurityVersion(workspace, deviceClass);
  requireRights(deviceClass, sealer, buildManifest(request, deviceClass, images, FORESEEN));
  finishRecords(workspace);
  const outputs = openOutputs(request, images);
  try {
    const taken = number.take();
    const release = await stillUsing(taken, () =>
      writeRelease(
        request,
        deviceClass,
        { images, recipients: recipients?.weight, approved },
        sealer,
        taken,
        outputs,
      ),
    );
    await stillUsing(taken, async () => {
      recordRelease(release);
      for (const output of [...outputs.images, outputs.envelope]) output?.commit();
    });
    const cautions = cautionsFor(release, securityBefore);
    return { json: sealJson(release, cautions), cautions };
  } finally {
    for (const output of [...outputs.images, outputs.envelope]) output?.abandon();
  }
}

function requireNoApproval({ name, approvals }: DeviceClass): void {
  if (approvals === 0) return;
  throw new SealError(
    'approval-needed',
    `releases of class ${name} need the approval of ${approvals === 1 ? 'one person' : `${approvals} people`} beside the one who asks; nothing was sealed`,
    `ask for it: fieldseal request make IMAGE --class ${name} --version TEXT --requester NAME; then approve, then seal IMAGE --request ${name}/NUMBER --out FILE`,
  );
}

function numberOptions({ sequence, allowJump }: SealRequest): TakeOptions {
  return { ...(sequence !== undefined && { sequence }), ...(allowJump !== undefined && { allowJump }) };
}

interface Outputs {
  readonly envelope: Output;
  /** For detached images that are not their file: the flat image, to be distributed. */
  readonly images: readonly (Output | undefined)[];
}

function openOutputs(request: SealRequest, images: readonly DeliveredImage[]): Outputs {
  const { files } = request.workspace;
  const options = { force: request.force ?? false };
  const opened: Output[] = [];
  const open = (path: string) => {
    const output = files.beginOutput(path, options);
    opened.push(output);
    return output;
  };
  try {
    const envelope = open(request.out);
    return {
      envelope,
      images: images.map((image, i) =>
        writesImage(request, image) ? (image.ciphertext ?? open(imagePath(request, i))) : undefined,
      ),
    };
  } catch (error) {
    for (const output of opened) output.abandon();
    throw error;
  }
}

function writesImage(request: SealRequest, { isFile, encryption }: DeliveredImage): boolean {
  return (request.detached ?? false) && (!isFile || encryption !== undefined);
}

function imagePath({ out, images }: SealRequest, index: number): string {
  return `${out}${images.length > 1 ? `.${index === 0 ? 'a' : 'b'}` : ''}.bin`;
}

async function writeRelease(
  request: OpenRequest,
  deviceClass: DeviceClass,
  { images, recipients, approved }: Pick<Release, 'images' | 'recipients' | 'approved'>,
  sealer: Sealer,
  taken: TakenNumber,
  outputs: Outputs,
): Promise<Release> {
  const manifest = buildManifest(request, deviceClass, images, taken.number);
  const blocks = await sealBlocks(sealer, manifest.payload, request.securityVersion ?? 0);
  const pieces = buildEnvelope(request, deviceClass, images, manifest, blocks);
  const payloads = payloadsOf(request, deviceClass, images);
  writeEnvelope(request, outputs.envelope, pieces, payloads);
  for (const [i, output] of outputs.images.entries()) {
    if (output && !images[i]!.ciphertext) copyImage(output, images[i]!);
  }
  const written = await settleAndCheck(outputs.envelope, async (source) => {
    const hashed = source.sha256();
    try {
      requireWritten(source, pieces, payloads);
      await checkWritten(source, sealer, manifest, payloads);
    } finally {
      await hashed.catch(() => {}); // The file must not be closed under who reads it.
    }
    return { size_bytes: source.size, sha256: toHex(await hashed) };
  });
  for (const [i, output] of outputs.images.entries()) {
    if (output) await settleAndCheck(output, (source) => checkImage(source, images[i]!));
  }
  requireUnchanged(images);
  requirePartsUnchanged(request.parts ?? NO_PARTS);
  return {
    request,
    deviceClass,
    images,
    recipients,
    approved,
    sealer,
    taken,
    sealedAt: request.workspace.now(),
    manifestDigest: manifest.digest,
    leaves: leavesUsed(sealer, blocks),
    files: {
      envelope: { file: request.out, ...written },
      images: urisOf(request, deviceClass, images).map((uri, i) => ({
        uri,
        file: outputs.images[i] ? imagePath(request, i) : null,
      })),
    },
  };
}

/** Reads back and judges what was written while another thread makes it durable. */
async function settleAndCheck<T>(output: Output, check: (source: FileSource) => Promise<T> | T): Promise<T> {
  const source = fileSource(output.partPath);
  const settled = output.settleMeanwhile();
  settled.catch(() => {}); // Whoever waits for it learns of it.
  try {
    return await check(source);
  } finally {
    source.close();
    await settled;
  }
}

function writeEnvelope(
  request: SealRequest,
  output: Output,
  pieces: readonly Uint8Array[],
  payloads: readonly IntegratedPayload[],
): void {
  const totalBytes = payloads.reduce((sum, each) => sum + each.size, 0);
  let doneBytes = 0;
  for (const [i, piece] of pieces.entries()) {
    output.write(piece);
    for (const bytes of payloads[i]?.pieces() ?? []) {
      output.write(bytes);
      doneBytes += bytes.length;
      request.progress?.({ doing: 'writing', doneBytes, totalBytes });
    }
  }
}

function copyImage(output: Output, image: DeliveredImage): void {
  for (const bytes of image.pieces()) output.write(bytes);
}

function recordRelease(release: Release): void {
  const { request, deviceClass, taken } = release;
  writeRecord(request.workspace, {
    folder: 'releases',
    name: [deviceClass.name, String(taken.number)],
    kind: 'sealed',
    facts: releaseRecord(release),
    summary: {
      class: deviceClass.name,
      version: request.version,
      sequence_number: String(taken.number),
      security_version: request.securityVersion ?? 0,
      manifest_digest: toHex(release.manifestDigest),
      ...approvalSummary(release.approved),
      ...(release.leaves.length > 0 && { leaves: leavesJson(release.leaves) }),
    },
  });
}

// Whoever reads the error should know what became of the number.
async function stillUsing<T>(taken: TakenNumber, action: () => Promise<T>): Promise<T> {
  try {
    return await action();
  } catch (error) {
    if (!(error instanceof WorkspaceError)) throw error;
    const says = `${error.message}; no payload was left behind, and sequence number ${taken.number} stays used`;
    throw new WorkspaceError(error.code, says, {
      ...(error.hint !== undefined && { hint: error.hint }),
      ...(error.file !== undefined && { file: error.file }),
      cause: error,
    });
  }
}

function requireFreePlaces(request: SealRequest): void {
  const { components = [], dependencies = [], deltaFrom = [] } = request;
  const files = [...request.images, ...components].map(({ path }) => path);
  const inputs = [...files, ...deltaFrom, ...dependencies].map(realPath);
  const places = [
    request.out,
    ...(request.detached ? request.images.map((_, i) => imagePath(request, i)) : []),
  ];
  for (const place of places) {
    if (inputs.includes(realPath(place))) {
      throw new SealError(
        'output-is-input',
        `${place} is read for this release; it was left as it is`,
        'name another file with --out',
      );
    }
  }
  if (!existsSync(request.out) || request.force) return;
  throw new WorkspaceError(
    'output-exists',
    `${request.out} is there already and was left as it is; nothing was sealed`,
    {
      hint: 'name another file with --out, or replace it with --force',
      file: request.out,
    },
  );
}

function realPath(path: string): string {
  if (existsSync(path)) return realpathSync(path);
  const folder = dirname(resolve(path));
  return join(existsSync(folder) ? realpathSync(folder) : folder, basename(path));
}
