import { type ByteSource, slice } from '../../bytes/index.ts';
import { decodeCose, decodeEncrypted, type Headers, LABEL } from '../../cose/index.ts';
import { type Envelope, type Manifest, openEnvelope, readManifest, type Sequence } from '../../suit/index.ts';
import { imagesBySlot, UNIT_EXTENSIONS, type WantedImage } from '../../unit/index.ts';

/** A sealed payload as far as its cost depends on it. Sizes in bytes. */
export interface PayloadFacts {
  /** The envelope without the images inside it. */
  readonly envelope: number;
  /** The manifest in it. */
  readonly manifest: number;
  /** Sizes of the images as they run, one of each digest. */
  readonly images: readonly number[];
  /** Whether all images travel inside the envelope, so that a unit receives every one of them. */
  readonly integrated: boolean;
  /** Encrypted images: to how many recipients. */
  readonly recipients: number | undefined;
  /** Of a payload by delta, the deltas inside; the whole images lie beside it. */
  readonly delta: number | undefined;
  /** The images themselves, where they lie in the envelope in clear. */
  readonly clear: readonly ByteSource[];
  /** Verifications that one check takes: of each signature and each certificate that came with it. */
  readonly verifications: number;
}

const ENCRYPTION_INFO = 19;

/** Reads what a payload weighs. Nothing is verified here. Throws `SuitError` or `CoseError` on anything else. */
export function readPayload(source: ByteSource): PayloadFacts {
  const envelope = openEnvelope(source);
  const manifest = readManifest(envelope.manifest, {
    base: envelope.manifestStart,
    severed: envelope.severed,
    extensions: UNIT_EXTENSIONS,
  });
  const named = runningOf(imagesBySlot(manifest).flat());
  const images = new Map(named.map(({ digest, size }) => [String(digest), size ?? 0]));
  const inside = [...envelope.integrated.values()];
  const byDelta = named.some((image) => image.byDelta);
  const insideBytes = inside.reduce((sum, { length }) => sum + length, 0);
  const info = [...sequencesOf(manifest)].map(encryptionInfoIn).find((found) => found !== undefined);
  return {
    envelope: source.size - insideBytes,
    manifest: envelope.manifest.length,
    images: [...images.values()],
    integrated: inside.length > 0 && !byDelta,
    recipients: info && recipientsIn(info),
    delta: byDelta ? insideBytes : undefined,
    clear: info || byDelta ? [] : inside.map(({ offset, length }) => slice(source, offset, length)),
    verifications: verificationsOf(envelope),
  };
}

/** Of a payload by delta, the images that it makes: what else is compared is the delta itself. */
function runningOf(images: readonly WantedImage[]): readonly WantedImage[] {
  const made = images.filter(({ byDelta }) => byDelta);
  return made.length > 0 ? made : images;
}

function* sequencesOf({ sequences }: Manifest): Generator<Sequence> {
  for (const each of sequences.values()) if ('value' in each) yield each.value;
}

function encryptionInfoIn({ commands }: Sequence): Uint8Array | undefined {
  for (const { argument } of commands) {
    const inner =
      argument.type === 'branches'
        ? argument.branches
        : argument.type === 'sequence'
          ? [argument.sequence]
          : [];
    const found =
      argument.type === 'parameters'
        ? argument.values.get(ENCRYPTION_INFO)
        : inner.map(encryptionInfoIn).find((info) => info !== undefined);
    if (found) return found;
  }
  return undefined;
}

function recipientsIn(info: Uint8Array): number {
  const message = decodeEncrypted(info);
  return message.kind === 'encrypt' ? message.recipients.length : 0;
}

function verificationsOf({ blocks }: Envelope): number {
  return blocks
    .map(({ bytes }) => decodeCose(bytes))
    .flatMap((message): Headers[] => {
      if (message.kind === 'sign1') return [message.headers];
      return message.kind === 'sign' ? message.signers.map(({ headers }) => headers) : [];
    })
    .reduce((sum, headers) => sum + 1 + certificatesIn(headers), 0);
}

function certificatesIn(headers: Headers): number {
  const chain = headers.get(LABEL.x5chain);
  if (!chain) return 0;
  return chain.type === 'array' ? chain.items.length : 1;
}
