import type { CborItem } from '../cbor/index.ts';
import {
  CoseError,
  decodeCose,
  LABEL,
  type Mac0Message,
  type MacKey,
  type SealParts,
  type Sign1Message,
  type Signer,
  sealMac0,
  sealSign1,
} from '../cose/index.ts';
import { ReportError } from './error.ts';
import { REPORT_LIMITS } from './limits.ts';
import type { SuitReport } from './report.ts';
import { writeReport } from './write.ts';

/** Media type of a report ([RPT] section 9); protected, so that nothing else that a unit signs passes for a report. */
export const REPORT_CONTENT_TYPE = 'application/suit-report+cose';
/** CoAP content formats of COSE_Encrypt0 and COSE_Encrypt (RFC 9052 section 11.4). */
const ENCRYPTED_CONTENT_FORMATS: readonly (number | bigint)[] = [16, 96];
/** Protected header with the age of the unit's marks; private use (docs/reports.md). */
export const AGE_LABEL = -70002;
const DEVICE_ID_LENGTH = 16;

/** Who sends a report, and how far its life has come. */
export interface ReportSender {
  /** 16 bytes. */
  readonly deviceId: Uint8Array;
  /** `Unit.age()`. */
  readonly age: number;
}

/**
 * Signs or MACs a report: a tagged COSE_Sign1 or COSE_Mac0 that carries it ([RPT] section 8; RFC 9052 sections 4.2 and 6.2).
 * Content type, device identifier (kid) and age are protected. Throws as `sealSign1` and `sealMac0`.
 */
export function sealReport(
  report: SuitReport,
  sender: ReportSender,
  authenticator: Signer | MacKey,
): Promise<Uint8Array> {
  const parts: SealParts = {
    payload: writeReport(report),
    attached: true,
    protectedHeaders: [[LABEL.contentType, REPORT_CONTENT_TYPE], ...senderHeaders(sender)],
  };
  return 'sign' in authenticator ? sealSign1(authenticator, parts) : sealMac0(authenticator, parts);
}

/** The protected headers that say who sends, for whoever builds another container around a report. */
export function senderHeaders({ deviceId, age }: ReportSender): [number, Uint8Array | number][] {
  return [
    [LABEL.kid, deviceId],
    [AGE_LABEL, age],
  ];
}

/** A report in its container, not yet authenticated: only what is needed to find its key. */
export interface SealedReport {
  readonly message: Sign1Message | Mac0Message;
  /** Undefined where the container names no device identifier of 16 bytes. */
  readonly deviceId: Uint8Array | undefined;
  /** Undefined where the container does not say. */
  readonly age: number | undefined;
  readonly payload: Uint8Array;
  /** Whether the payload is an encrypted message around the report. */
  readonly encrypted: boolean;
}

/** Opens the container and looks no further. Throws `ReportError` container, content-type, limit. */
export function openSealedReport(bytes: Uint8Array): SealedReport {
  const message = decodeContainer(bytes);
  const { headers, payload } = message;
  if (!payload)
    throw new ReportError('container', message.span.start, 'the container does not carry a report');
  const encrypted = holdsEncrypted(headers.protectedGet(LABEL.contentType));
  const kid = headers.protectedGet(LABEL.kid);
  const age = headers.protectedGet(AGE_LABEL);
  return {
    message,
    deviceId: kid?.type === 'bytes' && kid.value.length === DEVICE_ID_LENGTH ? kid.value : undefined,
    age: age?.type === 'uint' && typeof age.value === 'number' ? age.value : undefined,
    payload,
    encrypted,
  };
}

function decodeContainer(bytes: Uint8Array): Sign1Message | Mac0Message {
  if (bytes.length > REPORT_LIMITS.messageSize) {
    const found = `${bytes.length} bytes; at most ${REPORT_LIMITS.messageSize} are read`;
    throw new ReportError('limit', REPORT_LIMITS.messageSize, found);
  }
  try {
    const message = decodeCose(bytes);
    if (message.kind === 'sign1' || message.kind === 'mac0') return message;
    const found = `the container is a ${message.kind}; a report travels in COSE_Sign1 or COSE_Mac0`;
    throw new ReportError('container', message.span.start, found);
  } catch (error) {
    if (!(error instanceof CoseError)) throw error;
    throw new ReportError('container', error.offset, error.message, { cause: error });
  }
}

/** Whether a report is carried encrypted. Throws where the content type says neither that nor that it is a report. */
function holdsEncrypted(contentType: CborItem | undefined): boolean {
  if (contentType?.type === 'text' && contentType.value === REPORT_CONTENT_TYPE) return false;
  if (contentType?.type === 'uint' && ENCRYPTED_CONTENT_FORMATS.includes(contentType.value)) return true;
  throw new ReportError(
    'content-type',
    contentType?.start ?? 0,
    `the protected content type is not ${REPORT_CONTENT_TYPE}: this may be something else that the unit signed`,
  );
}
