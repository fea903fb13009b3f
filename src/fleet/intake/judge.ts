import { toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import {
  APPRAISAL_REFUSALS,
  type Appraisal,
  type AppraisalCode,
  appraiseReport,
  type KnownRelease,
  openSealedReport,
  outcomeTold,
  ReportError,
} from '../../report/index.ts';
import type { UnitReport } from '../store/types.ts';
import type { Reporter } from './reporters.ts';

/** Why a report does not count. `doubted`: it is the unit's, and what it says cannot be. */
export type Untaken = 'malformed' | 'foreign' | 'forged' | 'doubted';

/** What a report is worth. */
export type Judged =
  | { readonly taken: true; readonly report: UnitReport }
  | {
      readonly taken: false;
      readonly why: Untaken;
      readonly code: AppraisalCode;
      readonly says: string;
      /** The unit that said it, where that is proved. */
      readonly from: Reporter | undefined;
    };

/** What a judge knows. */
export interface JudgeBooks {
  find(deviceId: Uint8Array, macs: boolean): Promise<Reporter | undefined>;
  /** Releases by manifest digest in hexadecimal. */
  releases(): Promise<ReadonlyMap<string, KnownRelease>>;
}

const FORGED: readonly AppraisalCode[] = ['signature-wrong', 'mac-wrong', 'algorithm-not-allowed'];
const FOREIGN: readonly AppraisalCode[] = ['unit-unknown', 'key-unknown'];

/**
 * Judges a report before it counts: form and size, sender, the unit's report key, content, release, image. How old it is is
 * not judged here: the store keeps reports in the order in which the unit made them. Never throws on data.
 */
export async function judgeReport(bytes: Uint8Array, books: JudgeBooks, at: Date): Promise<Judged> {
  const sender = senderOf(bytes);
  const reporter = sender && (await books.find(sender.deviceId, sender.macs));
  const releases = reporter ? await books.releases() : undefined;
  const appraisal = appraiseReport(bytes, {
    unit: () => reporter?.unit,
    release: (digest) => releases?.get(toHex(digest)),
  });
  const code = appraisal.refusal;
  if (reporter && appraisal.report && (code === null || refusedStranger(appraisal)))
    return { taken: true, report: reportOf(reporter, appraisal, bytes, at) };
  const told = code ?? 'unit-unknown';
  const { says } = APPRAISAL_REFUSALS[told];
  return { taken: false, why: whyOf(told, appraisal), code: told, says, from: appraisal.sender && reporter };
}

function senderOf(bytes: Uint8Array): { deviceId: Uint8Array; macs: boolean } | undefined {
  try {
    const { deviceId, message } = openSealedReport(bytes);
    return deviceId && { deviceId, macs: message.kind === 'mac0' };
  } catch (error) {
    if (error instanceof ReportError) return undefined;
    throw error;
  }
}

/** A unit that refused what nobody sealed here says so, and is right. */
function refusedStranger({ claims, report }: Appraisal): boolean {
  const failed = claims.filter(({ result }) => result === 'fails');
  return failed.every(({ claim }) => claim === 'manifest') && outcomeTold(report!).result === 'failed';
}

function whyOf(code: AppraisalCode, { sender }: Appraisal): Untaken {
  if (FOREIGN.includes(code)) return 'foreign';
  if (FORGED.includes(code)) return 'forged';
  return sender ? 'doubted' : 'malformed';
}

function reportOf({ name }: Reporter, appraisal: Appraisal, raw: Uint8Array, at: Date): UnitReport {
  const { report, age, release } = appraisal;
  const { result, refusal } = outcomeTold(report!);
  const digest = report!.reference.digest.bytes;
  return {
    ...name,
    id: toHex(sha256(raw)),
    at,
    age,
    manifestDigest: digest.length > 0 ? toHex(digest) : undefined,
    sequence: release?.sequenceNumber,
    version: release?.version,
    outcome: result,
    refusal: refusal ? { step: refusal.step, code: refusal.code } : undefined,
    raw,
  };
}
