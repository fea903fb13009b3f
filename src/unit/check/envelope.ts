import { type ByteSource, toHex } from '../../bytes/index.ts';
import { CoseError, type CoseMessage, decodeCose } from '../../cose/index.ts';
import { sha256 } from '../../crypto/index.ts';
import {
  DIGEST_ALGORITHMS,
  type Envelope,
  type Extensions,
  manifestDigestMatches,
  openEnvelope,
  SUIT_LIMITS,
  SuitError,
  type SuitErrorCode,
} from '../../suit/index.ts';
import { DIGEST_ALGORITHM } from '../profiles.ts';
import type { RefusalCode } from '../refusals.ts';
import type { Trace } from '../trace.ts';

/** An envelope whose manifest is the one whose digest was sealed, by whomever. */
export interface OpenedEnvelope {
  readonly envelope: Envelope;
  /** Its authentication blocks, in order. */
  readonly blocks: readonly CoseMessage[];
}

const CODES: Partial<Record<SuitErrorCode, RefusalCode>> = {
  limit: 'envelope-too-large',
  'element-unknown': 'envelope-element-unknown',
  'element-unsupported': 'envelope-element-unknown',
  'element-missing': 'envelope-incomplete',
  'wrapper-order': 'wrapper-after-manifest',
  'digest-algorithm': 'digest-algorithm-unknown',
};

/**
 * Step 1: bounded, strict, the wrapper before the manifest, and the digest over the manifest's byte string.
 * Nothing inside the manifest is read. draft-ietf-suit-manifest sections 6.2, 8.2 and 8.3.
 */
export function judgeEnvelope(trace: Trace, source: ByteSource, extensions?: Extensions): OpenedEnvelope {
  trace.enter('envelope');
  const envelope = openShell(trace, source, extensions);
  const blocks = envelope.blocks.map(({ bytes, span }) => readBlock(trace, bytes, span.start));
  judgeDigest(trace, envelope);
  return { envelope, blocks };
}

function openShell(trace: Trace, source: ByteSource, extensions: Extensions | undefined): Envelope {
  try {
    const envelope = openEnvelope(source, SUIT_LIMITS, extensions);
    trace.holds({
      what: 'form of the envelope',
      expected: `deterministic CBOR, wrapper before manifest, at most ${SUIT_LIMITS.manifestSize} bytes of manifest`,
      found: () => `${source.size} bytes, of which ${envelope.manifest.length} are the manifest`,
      source: 'draft-ietf-suit-manifest 8.1, 8.2, 8.3',
    });
    return envelope;
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    return trace.refuse(CODES[error.code] ?? 'envelope-malformed', {
      what: 'form of the envelope',
      expected: 'an envelope in deterministic CBOR',
      found: `byte ${error.offset}: ${error.message}`,
      source: 'draft-ietf-suit-manifest 8.1, 8.2, 8.3',
    });
  }
}

/** A block is tagged and its payload, the digest, detached (draft-ietf-suit-manifest section 8.3). */
function readBlock(trace: Trace, bytes: Uint8Array, base: number): CoseMessage {
  const question = {
    what: 'form of an authentication block',
    expected: 'a tagged COSE signature or MAC with a nil payload',
    source: 'draft-ietf-suit-manifest 8.3; RFC 9052 4.2, 6.2',
  };
  try {
    const block = decodeCose(bytes, { requireTag: true, base });
    const found = block.payload === null ? block.kind : 'a payload of its own';
    trace.require(block.payload === null, 'authentication-block-malformed', question, found);
    return block;
  } catch (error) {
    if (!(error instanceof CoseError)) throw error;
    return trace.refuse('authentication-block-malformed', question, error.message);
  }
}

function judgeDigest(trace: Trace, envelope: Envelope): void {
  const { algorithm, bytes } = envelope.digest;
  trace.require(algorithm === DIGEST_ALGORITHM, 'digest-algorithm-unknown', {
    what: 'digest algorithm',
    expected: 'SHA-256 (-16)',
    found: () => `${DIGEST_ALGORITHMS.get(algorithm)?.name} (${algorithm})`,
    source: 'draft-ietf-suit-manifest 10; draft-ietf-suit-mti 3',
  });
  trace.require(manifestDigestMatches(envelope), 'manifest-digest-wrong', {
    what: 'digest over the byte string of the manifest, header included',
    expected: bytes,
    found: () => toHex(sha256(envelope.manifestBstr)),
    source: 'draft-ietf-suit-manifest 8.3',
  });
  trace.facts.manifestDigest = bytes;
}
