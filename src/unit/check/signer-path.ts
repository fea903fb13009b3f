import { equal } from '../../bytes/index.ts';
import {
  type Certificate,
  fingerprint,
  judgeSigner,
  type PathRefusal,
  PUBLISHED_EXAMPLE_KEYS,
  PURPOSE_OID,
  PURPOSE_TEXT,
  purposeOf,
  type SignerPurpose,
  type SignerRefusal,
  validatePath,
} from '../../x509/index.ts';
import { type LabelledAnchor, prepareRecord } from '../prepared.ts';
import type { RefusalCode } from '../refusals.ts';
import type { UnitView } from '../state.ts';
import type { Trace } from '../trace.ts';
import { anchorsFor, deniedBelow, minimumGeneration } from './anchors.ts';

/** What is judged of a signer. At start-up neither dates nor revocation are (design: a start is never stopped). */
export interface SignerRules {
  /** The time by the unit's clock; undefined where it has none, and at start-up. */
  readonly at: Date | undefined;
  /** Whether deny list, minimum generation and the retirement of roots count. */
  readonly revocation: boolean;
  /** What the signer must be for; undefined: what its certificate says, and what it signed is then judged by that. */
  readonly purpose?: SignerPurpose | undefined;
  /** Whether it signed a manifest that another one depends on: then the roots of other authors count too. */
  readonly dependency?: boolean;
}

const PATH_CODES: Readonly<Record<PathRefusal, RefusalCode>> = {
  'chain-empty': 'signer-missing',
  'chain-too-long': 'signer-chain-malformed',
  'anchor-unknown': 'signer-not-anchored',
  'issuer-mismatch': 'signer-path-broken',
  'algorithm-not-allowed': 'signer-certificate-unsupported',
  'signature-wrong': 'signer-path-broken',
  'not-yet-valid': 'signer-not-yet-valid',
  expired: 'signer-expired',
  revoked: 'signer-denied',
  'crl-missing': 'signer-path-broken',
  'crl-signature-wrong': 'signer-path-broken',
  'crl-signer-not-allowed': 'signer-path-broken',
  'crl-not-understood': 'signer-path-broken',
  'crl-stale': 'signer-path-broken',
  'name-not-permitted': 'signer-path-broken',
  'policy-not-satisfied': 'signer-path-broken',
  'not-an-authority': 'signer-path-broken',
  'path-too-long': 'signer-path-broken',
  'key-usage': 'signer-path-broken',
  'purpose-not-allowed': 'signer-purpose-wrong',
  'critical-extension-unknown': 'signer-certificate-unsupported',
};

const RIGHTS_CODES: Readonly<Record<SignerRefusal, RefusalCode>> = {
  'signer-key': 'signer-chain-malformed',
  'signer-purpose': 'signer-purpose-wrong',
  'signer-scope': 'signer-not-for-this-class',
  'signer-denied': 'signer-denied',
  'signer-generation': 'signer-generation-too-low',
};

const PUBLISHED: ReadonlySet<string> = new Set(PUBLISHED_EXAMPLE_KEYS.map((row) => row.fingerprint));

/** A path that ends at a root of the unit. */
export interface JudgedPath {
  /** The signer's certificate first. */
  readonly path: readonly Certificate[];
  readonly anchor: LabelledAnchor;
  readonly purpose: SignerPurpose;
}

/** The path from the signer to a root of the unit (RFC 5280 section 6.1), dates only where the rules give a time. */
export function judgePath(
  trace: Trace,
  chain: readonly Certificate[],
  unit: UnitView,
  rules: SignerRules,
): JudgedPath {
  const { at, dependency = false } = rules;
  // What a unit installs is a release or a trust update: a certificate for anything else is none for it.
  const purpose = rules.purpose ?? (purposeOf(chain[0]!) === 'trust' ? 'trust' : 'release');
  const anchors = anchorsFor(unit, rules.revocation, purpose, dependency);
  const verdict = validatePath({ chain, anchors, at, purpose: PURPOSE_OID[purpose] });
  const question = {
    what: 'path from the signer to a root of the unit',
    expected: () => anchors.map(({ label }) => label).join(' or '),
    source: 'RFC 5280 6.1',
  };
  if (!verdict.ok) {
    const { code, detail, certificate } = verdict;
    const atRoot = code === 'signature-wrong' && isIssuedAs(chain[certificate], anchors);
    const found = `certificate ${certificate}, counted from the signer's: ${detail}`;
    trace.refuse(atRoot ? 'signer-not-anchored' : PATH_CODES[code], question, found);
  }
  const pathText = () => verdict.path.map(({ subject }) => subject.text).join(' <- ');
  trace.holds(question, () => `${pathText()} <- ${verdict.anchor.label}`);
  noteDates(trace, at);
  return { path: verdict.path, anchor: verdict.anchor, purpose };
}

/** Whether a certificate claims to be issued by a root of the unit. With a wrong signature, it only claims it. */
function isIssuedAs(certificate: Certificate | undefined, anchors: readonly LabelledAnchor[]): boolean {
  return certificate !== undefined && anchors.some(({ name }) => equal(name, certificate.issuer.der));
}

function noteDates(trace: Trace, at: Date | undefined): void {
  if (at) return;
  trace.note({
    what: 'dates of the certificates',
    found: 'not judged: no clock that the unit trusts',
    source: 'RFC 9124 4.3.18; docs/deployment-profile.md',
  });
}

/**
 * Whether the signer at the end of a good path may seal for this unit: purpose, scope, and where the rules say so
 * deny list and generation; a trial signer only for a trial unit, a published example key never.
 */
export function judgeRights(
  trace: Trace,
  { path, anchor, purpose }: JudgedPath,
  unit: UnitView,
  { revocation }: SignerRules,
): void {
  const { record } = unit;
  judgeKeys(trace, path, revocation ? deniedBelow(unit, anchor) : []);
  judgeTrial(trace, path, record.trial);
  const signer = path[0]!;
  const { scopes } = anchor.author ?? prepareRecord(record);
  const least = anchor.author?.minimumGeneration ?? minimumGeneration(unit);
  const lowest = revocation && purpose !== 'trust' ? least : 0;
  const verdict = judgeSigner(signer, { scopes, minimumGeneration: lowest, denied: [], purpose });
  const question = {
    what: 'purpose, scope and generation of the signer',
    expected: () => `${PURPOSE_TEXT[purpose]} for ${scopes.join(' or ')}, generation ${lowest} or later`,
    found: () => `${signer.subjectAltUris.join(', ')}, generation ${signer.generation ?? 0}`,
    source: 'RFC 5280 4.2.1.3, 4.2.1.12; docs/deployment-profile.md',
  };
  if (!verdict.ok) trace.refuse(RIGHTS_CODES[verdict.code], question, verdict.detail);
  trace.holds(question);
}

/** No key of the path is on the deny list (a denied authority takes all below it along), and none is in print. */
function judgeKeys(trace: Trace, path: readonly Certificate[], denied: readonly string[]): void {
  const keys = path.map(({ spki }) => fingerprint(spki));
  const revoked = keys.findIndex((key) => denied.includes(key));
  trace.require(revoked < 0, 'signer-denied', {
    what: 'keys of the path, by fingerprint',
    expected: () => `none of the ${denied.length} that are denied`,
    found: () => (revoked < 0 ? keys.join(', ') : `${path[revoked]!.subject.text}, ${keys[revoked]}`),
    source: 'RFC 9124 4.3.18',
  });
  const printed = keys.findIndex((key) => PUBLISHED.has(key));
  trace.require(printed < 0, 'signer-key-published', {
    what: 'keys of the path',
    expected: 'private halves that are secret',
    found: () =>
      printed < 0 ? 'none is a published example' : `that of ${path[printed]!.subject.text} is printed`,
    source: 'docs/deployment-profile.md',
  });
}

function judgeTrial(trace: Trace, path: readonly Certificate[], trialUnit: boolean): void {
  const marked = path.some(({ trial }) => trial);
  trace.require(trialUnit || !marked, 'signer-is-for-trial', {
    what: 'trial mark in the path',
    expected: trialUnit ? 'any: this is a trial unit' : 'none',
    found: marked ? 'marked for trial' : 'none',
    source: 'docs/deployment-profile.md',
  });
}
