import {
  type Envelope,
  type Extensions,
  formatVersion,
  type Manifest,
  readManifest,
  SuitError,
  type SuitErrorCode,
} from '../../suit/index.ts';
import { UNIT_EXTENSIONS } from '../extensions.ts';
import { prepareRecord } from '../prepared.ts';
import type { UnitRecord } from '../record.ts';
import type { RefusalCode } from '../refusals.ts';
import type { Question, Trace } from '../trace.ts';

export const MANIFEST_CODES: Partial<Record<SuitErrorCode, RefusalCode>> = {
  'manifest-version': 'manifest-version-unknown',
  'element-unknown': 'manifest-element-unknown',
  'element-unsupported': 'manifest-element-unsupported',
  'command-unknown': 'command-unknown',
  'command-unsupported': 'command-unsupported',
  'shared-sequence': 'command-misplaced',
  'parameter-unknown': 'parameter-unknown',
  'parameter-unsupported': 'parameter-unsupported',
  'component-index-missing': 'component-index-missing',
  'digest-algorithm': 'manifest-digest-algorithm-unknown',
  'severed-unexpected': 'severed-part-unexpected',
};

/** What the standards define and a fieldseal unit does not carry out: no fault of the manifest. */
const UNSUPPORTED: ReadonlySet<SuitErrorCode> = new Set([
  'element-unsupported',
  'command-unsupported',
  'parameter-unsupported',
]);

/**
 * Step 4: version, structure, and every command and parameter of every sequence, before any of them runs. Severed
 * sequences are read only where they match their digest. draft-ietf-suit-manifest sections 6.1, 6.2 and 8.4.
 */
export function judgeManifest(trace: Trace, envelope: Envelope, record: UnitRecord): Manifest {
  return readWith(trace, envelope, prepareRecord(record).extensions, (error, question) =>
    trace.refuse(MANIFEST_CODES[error.code] ?? 'manifest-malformed', question),
  );
}

/**
 * As `judgeManifest`, for a processor other than ours: what we know and do not carry out is no reason to refuse.
 * Undefined where the manifest cannot be read for such a reason.
 */
export function judgeStrangersManifest(trace: Trace, envelope: Envelope): Manifest | undefined {
  return readWith<Manifest | undefined>(trace, envelope, UNIT_EXTENSIONS, (error, question) => {
    if (!UNSUPPORTED.has(error.code))
      trace.refuse(MANIFEST_CODES[error.code] ?? 'manifest-malformed', question);
    trace.lacks(question);
    return undefined;
  });
}

function readWith<T>(
  trace: Trace,
  envelope: Envelope,
  extensions: Extensions,
  otherwise: (error: SuitError, question: Question) => T,
): Manifest | T {
  trace.enter('manifest');
  const question = {
    what: 'version, structure, and every command and parameter',
    expected: 'version 1, all of it known',
    source: 'draft-ietf-suit-manifest 6.1, 6.2, 8.4',
  };
  try {
    const manifest = readManifest(envelope.manifest, {
      base: envelope.manifestStart,
      severed: envelope.severed,
      extensions,
    });
    trace.holds(question, () => foundIn(manifest));
    trace.facts.sequenceNumber = manifest.sequenceNumber;
    if (manifest.setVersion) trace.facts.version = formatVersion(manifest.setVersion);
    return manifest;
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    return otherwise(error, { ...question, found: `byte ${error.offset}: ${error.message}` });
  }
}

function foundIn({ version, components, dependencies, sequences }: Manifest): string {
  const sections = [...sequences.keys()].join(', ') || 'none';
  const others = dependencies.size > 0 ? `, ${dependencies.size} dependency(ies)` : '';
  return `version ${version}, ${components.length} component(s)${others}, sequences: ${sections}`;
}
