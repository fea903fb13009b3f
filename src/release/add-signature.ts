import { basename, resolve } from 'node:path';
import { type ByteSource, concat, equal, slice, toHex } from '../bytes/index.ts';
import { encode, encodeHead, readHead } from '../cbor/index.ts';
import { CoseError, type CoseMessage, decodeCose, LABEL, verifySign1 } from '../cose/index.ts';
import { readPublicKey, startSha256 } from '../crypto/index.ts';
import {
  ALL_EXTENSIONS,
  digestOf,
  type Envelope,
  encodeDigest,
  openEnvelope,
  SuitError,
  writeEnvelopeHead,
} from '../suit/index.ts';
import { type PolicySigner, readSecurityVersion, SECURITY_VERSION_LABEL, standingOf } from '../unit/index.ts';
import {
  type DeviceClass,
  fileSource,
  type JsonObject,
  leavesJson,
  listRecords,
  type Output,
  readClass,
  readLedger,
  type Workspace,
  writeRecord,
} from '../workspace/index.ts';
import {
  type Certificate,
  DerError,
  fingerprint,
  OID,
  parseCertificate,
  validatePath,
  X509Error,
} from '../x509/index.ts';
import { blockVerifies, closeSealer, leavesUsed, openHands, type Sealer, sealBlocks } from './blocks.ts';
import { SealError } from './error.ts';
import { hashOf, sourcePieces } from './images.ts';
import { requireRoom } from './manifest.ts';
import { signerJson } from './record.ts';
import type { KeyRequest } from './request.ts';
import { anchorsOf, type ChosenSigner, chooseSigners, MOST_SIGNERS, openText } from './signer.ts';

/** Key of the authentication wrapper in an envelope, and the longest head of its map, in bytes. */
const WRAPPER_KEY = 0x02;
const MAP_HEAD = 9;
const UNDERSTOOD = { understood: [LABEL.x5t, LABEL.x5chain, SECURITY_VERSION_LABEL] };

/** A signature to be added. */
export interface AddSignatureRequest extends KeyRequest {
  /** The sealed envelope; it is only read. */
  readonly envelope: string;
  readonly signer: string;
  /** The envelope to write. */
  readonly out: string;
  readonly force?: boolean | undefined;
}

/** A release of this workspace, found again by the digest of its manifest. */
interface OnRecord {
  readonly deviceClass: DeviceClass;
  readonly sequenceNumber: string;
  readonly securityVersion: number;
}

/**
 * Adds a signature over the same digest (SUIT manifest section 8.3), which is computed anew from the manifest before
 * it is signed. Refused where the manifest is not one that this workspace sealed, a signature on it is unsound or
 * states another security version, or the key has signed already. Manifest, severed parts and images stay as they are,
 * byte for byte. The entry in the ledger comes before the envelope has its name. Throws `SealError`, `KeyError`,
 * `WorkspaceError`.
 */
export async function addSignature(request: AddSignatureRequest): Promise<JsonObject> {
  const source = fileSource(request.envelope);
  try {
    const envelope = openSound(source, request.envelope);
    const release = await findRelease(request.workspace, envelope);
    const present = envelope.blocks.map(({ bytes }, i) =>
      requireSound(request.workspace, envelope, decode(bytes), i, release),
    );
    const { deviceClass } = release;
    const { signers } = chooseSigners(request.workspace, deviceClass, [request.signer], true);
    requireWanted(deviceClass, signers[0]!, present);
    const all = [...present, ...signers.map(({ signer }) => signer)];
    const sealer: SignatureSealer = {
      kind: 'signature',
      hands: await openHands(request, signers),
      standing: standingOf(deviceClass.policy!, all),
    };
    try {
      return await signAndWrite(request, envelope, release, sealer);
    } finally {
      closeSealer(sealer);
    }
  } finally {
    source.close();
  }
}

type SignatureSealer = Sealer & { readonly kind: 'signature' };

function openSound(source: ByteSource, file: string): Envelope {
  const envelope = attemptOpen(source, file);
  const digest = encodeDigest(digestOf(envelope.manifestBstr));
  if (equal(digest, envelope.digest.encoded)) return envelope;
  throw new SealError(
    'manifest-changed',
    `the manifest in ${file} is not the one whose digest was sealed: it was changed or damaged since; nothing was signed`,
    'fetch the envelope again from where it was sealed; where it comes back the same, treat it as tampered with',
  );
}

function attemptOpen(source: ByteSource, file: string): Envelope {
  try {
    return openEnvelope(source, undefined, ALL_EXTENSIONS);
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    const says = `${file} is no envelope that can be signed: byte ${error.offset}: ${error.message}`;
    throw new SealError('envelope-unreadable', says, 'give an envelope as "fieldseal seal" writes it');
  }
}

/** What is signed must have been sealed here: whoever approves approves a release on record, and nothing else. */
async function findRelease(workspace: Workspace, { digest }: Envelope): Promise<OnRecord> {
  const wanted = toHex(digest.bytes);
  const sealed = readLedger(workspace).find(
    ({ kind, facts }) => kind === 'sealed' && facts.manifest_digest === wanted,
  );
  if (!sealed) {
    throw new SealError(
      'release-unknown',
      `no release in the ledger has the manifest digest ${wanted}; nothing was signed`,
      'sign in the workspace that sealed it, with its ledger up to date; if it should be there, treat the envelope as forged',
    );
  }
  const { facts } = sealed;
  return {
    deviceClass: await readClass(workspace, String(facts.class)),
    sequenceNumber: String(facts.sequence_number),
    securityVersion: Number(facts.security_version),
  };
}

function decode(bytes: Uint8Array): CoseMessage {
  try {
    return decodeCose(bytes, { requireTag: true });
  } catch (error) {
    if (!(error instanceof CoseError)) throw error;
    throw unsound(`it cannot be read: ${error.message}`);
  }
}

/** A signature that is there already: by a certificate of this workspace, good, and with the same security version. */
function requireSound(
  workspace: Workspace,
  { digest }: Envelope,
  block: CoseMessage,
  index: number,
  { securityVersion }: OnRecord,
): PolicySigner {
  const which = `signature ${index + 1}`;
  const chain = block.kind === 'sign1' ? chainOf(block) : [];
  const [leaf] = chain;
  if (!leaf || block.kind !== 'sign1') throw unsound(`${which} is none by a certificate`);
  const path = validatePath({
    chain,
    anchors: anchorsOf(workspace),
    at: undefined,
    purpose: OID.codeSigning,
  });
  if (!path.ok)
    throw unsound(`the path of ${which} does not end at a root of this workspace: ${path.detail}`);
  const key = readPublicKey(leaf.spki);
  const verdict = key && verifySign1(block, key, digest.encoded, UNDERSTOOD);
  if (!verdict?.ok) throw unsound(`${which} does not verify`);
  if (readSecurityVersion(block.headers) !== securityVersion) {
    throw unsound(`${which} states another security version than the release on record, ${securityVersion}`);
  }
  return {
    fingerprint: fingerprint(leaf.spki),
    role: leaf.role,
    algorithm: verdict.algorithm.id,
    anchor: path.anchor.label,
    scopes: leaf.subjectAltUris,
  };
}

function chainOf({ headers }: CoseMessage): Certificate[] {
  const item = headers.get(LABEL.x5chain);
  const items = item?.type === 'array' ? item.items : item ? [item] : [];
  try {
    return items.flatMap((each) => (each.type === 'bytes' ? [parseCertificate(each.value)] : []));
  } catch (error) {
    if (error instanceof DerError || error instanceof X509Error) return [];
    throw error;
  }
}

function unsound(says: string): SealError {
  return new SealError(
    'signature-unsound',
    `${says}; nothing was added to it`,
    'start again from the envelope as it was sealed; where it is that one, treat it as tampered with',
  );
}

function requireWanted(
  { name, policy }: DeviceClass,
  { description, signer }: ChosenSigner,
  present: readonly PolicySigner[],
): void {
  if (!policy || present.length >= MOST_SIGNERS) {
    throw new SealError(
      'signers-wrong',
      `units of class ${name} take ${policy ? `at most ${MOST_SIGNERS} signatures` : 'one signature'}; nothing was added`,
      `say under "authentication" in classes/${name}.yaml which signers units ask for`,
    );
  }
  if (!present.some(({ fingerprint: known }) => known === signer.fingerprint)) return;
  throw new SealError(
    'signed-already',
    `signer ${description.name} has signed this envelope already, and a key counts once`,
    'name another signer',
  );
}

async function signAndWrite(
  request: AddSignatureRequest,
  envelope: Envelope,
  release: OnRecord,
  sealer: SignatureSealer,
): Promise<JsonObject> {
  const { workspace, out, force = false } = request;
  requireOther(request);
  const before = envelope.blocks.map(({ bytes }) => bytes);
  const output = workspace.files.beginOutput(out, { force });
  try {
    const [added] = await sealBlocks(sealer, envelope.digest.encoded, release.securityVersion);
    const leaves = leavesUsed(sealer, [added!]);
    const { digest, manifest } = envelope;
    const severed = new Map([...envelope.severed].map(([key, { content }]) => [key, content]));
    const blocks = [...before, added!];
    const head = writeEnvelopeHead({ digest: digest.encoded, blocks, manifest, severed, integrated: [] });
    requireRoom(release.deviceClass, head[0]!.length);
    const written = write(output, envelope, blocks);
    await checkAdded(output, envelope, blocks, sealer);
    const facts: JsonObject & { format: string } = {
      format: 'fieldseal.signature/1',
      class: release.deviceClass.name,
      sequence_number: release.sequenceNumber,
      manifest_digest: toHex(digest.bytes),
      security_version: release.securityVersion,
      signed: workspace.now().toISOString(),
      signer: signerJson(sealer.hands[0]!.chosen),
      signatures: blocks.length,
      open: sealer.standing?.satisfied ? [] : sealer.standing!.open.map(({ text }) => text),
      envelope: { file: basename(out), ...written },
      leaves: leavesJson(leaves),
    };
    const record = recordAdded(workspace, release, facts);
    output.commit();
    return { ...facts, envelope: { file: out, ...written }, record, cautions: cautionsOf(sealer) };
  } finally {
    output.abandon();
  }
}

function cautionsOf({ standing }: SignatureSealer): string[] {
  return standing!.satisfied
    ? []
    : [`unfinished: units refuse it until it is signed by ${openText(standing!)} too`];
}

function requireOther({ envelope, out }: AddSignatureRequest): void {
  if (resolve(envelope) !== resolve(out)) return;
  throw new SealError(
    'output-is-input',
    `${out} is the envelope itself; it was left as it is`,
    'name another file with --out',
  );
}

/** The wrapper is written anew; what stands before it and behind it is copied. */
function write(
  output: Output,
  envelope: Envelope,
  blocks: readonly Uint8Array[],
): { size_bytes: number; sha256: string } {
  const { source, tag107, digest } = envelope;
  const tag = tag107 ? 2 : 0;
  const start = source.read(0, readHead(source.read(0, tag + MAP_HEAD), tag).end);
  const wrapper = encode([digest.encoded, ...blocks]);
  const hash = startSha256();
  let size = 0;
  const put = (bytes: Uint8Array) => {
    hash.update(bytes);
    output.write(bytes);
    size += bytes.length;
  };
  put(concat(start, Uint8Array.of(WRAPPER_KEY), encodeHead(2, wrapper.length), wrapper));
  for (const piece of sourcePieces(behindWrapper(envelope))) put(piece);
  output.settle();
  return { size_bytes: size, sha256: toHex(hash.digest()) };
}

/** From the key of the manifest, one byte, to the end ([M] section 8.2). */
function behindWrapper({ source, manifestSpan }: Envelope): ByteSource {
  const start = manifestSpan.start - 1;
  return slice(source, start, source.size - start);
}

/** What was written is read back: the same manifest and signatures, the new one good, and the same bytes behind them. */
async function checkAdded(
  output: Output,
  before: Envelope,
  blocks: readonly Uint8Array[],
  sealer: Sealer,
): Promise<void> {
  const source = fileSource(output.partPath);
  try {
    const after = attemptOpen(source, 'what was written');
    const behind = (each: Envelope) => hashOf(sourcePieces(behindWrapper(each)));
    const sound =
      equal(after.digest.encoded, before.digest.encoded) &&
      after.blocks.length === blocks.length &&
      after.blocks.every(({ bytes }, i) => equal(bytes, blocks[i]!)) &&
      (await blockVerifies(sealer, 0, decode(after.blocks.at(-1)!.bytes), before.digest.encoded)) &&
      equal(behind(after), behind(before));
    if (sound) return;
  } finally {
    source.close();
  }
  throw new SealError(
    'self-check-failed',
    'what was written was read back, and is not what was to be written; it was thrown away',
    'disk or memory may be failing, or the envelope changed meanwhile: try again, and check the machine if it recurs',
  );
}

function recordAdded(
  workspace: Workspace,
  { deviceClass, sequenceNumber }: OnRecord,
  facts: JsonObject & { readonly format: string },
): string {
  const known = listRecords(workspace, 'releases', deviceClass.name);
  const prefix = `${deviceClass.name}/${sequenceNumber}-signature-`;
  const number = known.filter((name) => name.startsWith(prefix)).length + 1;
  const signer = facts.signer as JsonObject;
  const { path } = writeRecord(workspace, {
    folder: 'releases',
    name: [deviceClass.name, `${sequenceNumber}-signature-${number}`],
    kind: 'signature-added',
    facts,
    summary: {
      class: deviceClass.name,
      sequence_number: sequenceNumber,
      manifest_digest: facts.manifest_digest!,
      signer: signer.name!,
      role: signer.role!,
      fingerprint: signer.fingerprint!,
      ...((facts.leaves as JsonObject[]).length > 0 && { leaves: facts.leaves! }),
    },
  });
  return path;
}
