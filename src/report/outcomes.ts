import type { RefusalCode } from '../unit/index.ts';

/**
 * What each refusal is called in a report: our own number, and the reason of the registry ([RPT] sections 4.2 and 9). The
 * hundreds of a number are the step; a number once given is never given to another refusal, because reports are kept.
 */
const NUMBERS: Readonly<Record<RefusalCode, readonly [code: number, reason: number]>> = {
  // step 1, envelope
  'envelope-too-large': [101, 1],
  'envelope-malformed': [102, 1],
  'envelope-element-unknown': [103, 1],
  'envelope-incomplete': [104, 1],
  'wrapper-after-manifest': [105, 1],
  'authentication-block-malformed': [106, 2],
  'digest-algorithm-unknown': [107, 3],
  'manifest-digest-wrong': [108, 4],
  'message-malformed': [109, 2],
  'message-not-authentic': [110, 4],
  'message-not-decrypted': [111, 4],

  // step 2, signer
  'signer-missing': [201, 4],
  'signer-chain-malformed': [202, 2],
  'signer-not-bound': [203, 2],
  'signer-thumbprint-wrong': [204, 4],
  'signer-path-broken': [205, 4],
  'signer-not-anchored': [206, 4],
  'signer-certificate-unsupported': [207, 2],
  'signer-purpose-wrong': [208, 4],
  'signer-not-for-this-class': [209, 7],
  'signer-is-for-trial': [210, 4],
  'signer-key-published': [211, 4],
  'signer-denied': [212, 4],
  'signer-generation-too-low': [213, 4],
  'signer-expired': [214, 4],
  'signer-not-yet-valid': [215, 4],
  'mac-key-unknown': [216, 4],
  'signatures-too-many': [217, 4],

  // step 3, authentication
  'authentication-missing': [301, 4],
  'scheme-wrong': [302, 2],
  'algorithm-not-protected': [303, 2],
  'algorithm-not-allowed': [304, 3],
  'header-critical-unknown': [305, 2],
  'key-type-wrong': [306, 4],
  'signature-wrong': [307, 4],
  'mac-wrong': [308, 4],
  'authentications-too-few': [309, 4],
  'role-missing': [310, 4],
  'security-versions-differ': [311, 4],

  // step 4, manifest
  'manifest-version-unknown': [401, 1],
  'manifest-malformed': [402, 1],
  'manifest-element-unknown': [403, 5],
  'manifest-element-unsupported': [404, 5],
  'command-unknown': [405, 5],
  'command-unsupported': [406, 5],
  'command-misplaced': [407, 5],
  'parameter-unknown': [408, 8],
  'parameter-unsupported': [409, 8],
  'manifest-digest-algorithm-unknown': [410, 3],
  'severed-part-unexpected': [411, 4],
  'component-index-missing': [412, 6],
  'component-not-permitted': [413, 7],
  'command-not-permitted': [414, 7],
  'component-not-for-purpose': [431, 7],
  'policy-malformed': [432, 2],
  'retirement-not-permitted': [433, 7],
  'dependency-missing': [415, 11],
  'dependency-wrong': [416, 4],
  'dependency-not-authentic': [417, 4],
  'dependencies-not-followed': [418, 5],

  // step 5, freshness
  'marks-lost': [501, 11],
  'trial-in-progress': [502, 11],
  'sequence-number-too-low': [503, 10],
  'sequence-number-used': [504, 10],
  'fell-back-before': [505, 10],
  'security-version-malformed': [506, 2],
  'security-version-below-floor': [507, 10],
  'trust-number-too-low': [521, 10],
  'trust-update-loosens': [522, 10],

  // step 6, identity
  'vendor-not-named': [601, 10],
  'class-not-named': [602, 10],
  'vendor-wrong': [603, 10],
  'class-wrong': [604, 10],
  'device-wrong': [605, 10],
  'slot-not-offered': [606, 10],
  'use-before-passed': [607, 10],
  'clock-needed': [608, 10],
  'parameter-missing': [609, 8],
  'condition-failed': [610, 10],

  // step 7, fit
  'component-unknown': [701, 6],
  'component-count-wrong': [702, 6],
  'image-not-named': [703, 8],
  'image-size-missing': [704, 8],
  'image-empty': [705, 10],
  'image-too-large': [706, 11],
  'start-not-described': [707, 11],
  'envelope-area-too-small': [708, 11],
  'precursor-wrong': [709, 10],
  'delta-window-too-large': [710, 11],
  'trust-update-strands': [721, 11],

  // step 8, content
  'severed-part-missing': [801, 11],
  'severed-part-wrong': [802, 4],
  'install-missing': [803, 11],
  'install-failed': [804, 11],
  'image-source-missing': [805, 8],
  'payload-missing': [806, 11],
  'flash-failed': [807, 11],
  'encryption-info-wrong': [808, 2],
  'encryption-algorithm-not-allowed': [809, 3],
  'recipient-missing': [810, 4],
  'content-key-wrong': [811, 4],
  'ciphertext-digest-missing': [812, 8],
  'ciphertext-length-wrong': [813, 10],
  'ciphertext-digest-wrong': [814, 10],
  'decryption-failed': [815, 10],
  'delta-altered': [816, 10],
  'delta-malformed': [817, 11],
  'wait-not-over': [818, 10],

  // step 9, image
  'image-length-wrong': [901, 10],
  'image-digest-wrong': [902, 10],

  // step 10, commit
  'mark-not-written': [1001, 11],

  // step 11, start
  'stored-envelope-wrong': [1101, 1],
  'stored-signer-wrong': [1102, 4],
  'stored-authentication-wrong': [1103, 4],
  'stored-manifest-wrong': [1104, 5],
  'stored-identity-wrong': [1105, 10],
  'stored-version-below-floor': [1106, 10],
  'stored-image-wrong': [1107, 10],
  'stored-start-failed': [1108, 11],
  'marks-unreadable': [1109, 11],
  'nothing-to-start': [1110, 11],
  'stored-decryption-wrong': [1111, 11],

  // step 12, keep
  'nothing-on-trial': [1201, 11],
  'trial-ran-out': [1202, 11],
  'floor-would-strand': [1203, 11],
};

/** Our numbers for what is no refusal. */
export const PENDING = { code: 0, reason: 12 } as const;
/** An install that was cut short, or lacked its image: it may be resumed. */
export const UNFINISHED = { code: 1, reason: 11 } as const;

/** What a refusal is called in a report. */
export function outcomeOf(refusal: RefusalCode): { readonly code: number; readonly reason: number } {
  const [code, reason] = NUMBERS[refusal];
  return { code, reason };
}

/** The refusal that a unit of ours means by number and reason, where it is one. */
export function refusalNamed(code: number, reason: number): RefusalCode | undefined {
  const found = Object.entries(NUMBERS).find(([, row]) => row[0] === code && row[1] === reason);
  return found?.[0] as RefusalCode | undefined;
}
