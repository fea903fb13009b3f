/**
 * NIST PKITS (2011), the path validation suite; the section numbers of each case are the document's. All keys are
 * RSA-2048, which no unit allows: the algorithm is a parameter of path validation, and the suite hands in its own.
 */
import { createPublicKey, verify } from 'node:crypto';
import { describe, expect, test } from 'vitest';
import {
  type Certificate,
  type CertificateAlgorithm,
  type Crl,
  DerError,
  type PathVerdict,
  parseCertificate,
  parseCrl,
  sameName,
  validatePath,
  X509Error,
} from '../../src/x509/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';

interface Case {
  id: string;
  section: string;
  endEntity: string;
  otherCertificates: string[];
  crls: string[];
  initialPolicySet: string[];
  initialExplicitPolicy: boolean;
  initialPolicyMappingInhibit: boolean;
  initialInhibitAnyPolicy: boolean;
  expected: 'valid' | 'invalid';
}

/** Section 5.2.5 and 5.2.4: a list over a part of what its issuer issued, and a list of changes. */
const SCOPED_LIST = '2.5.29.28';
const DELTA_LIST = '2.5.29.27';

const rsa: CertificateAlgorithm = {
  oid: '1.2.840.113549.1.1.11',
  name: 'RSA with SHA-256',
  verify(spki, message, value) {
    try {
      return verify(
        'sha256',
        message,
        createPublicKey({ key: Buffer.from(spki), format: 'der', type: 'spki' }),
        value,
      );
    } catch {
      return false;
    }
  },
};

describe.skipIf(!vectorsPresent)('NIST PKITS', () => {
  const suite = vectorsPresent ? vectors('pkits-path-validation') : { cases: [] };
  const cases: Case[] = suite.cases;
  const at = new Date(suite.validationTime);
  const bytes = (base64: string) => new Uint8Array(Buffer.from(base64, 'base64'));
  const certificate = (name: string) => parseCertificate(bytes(suite.certificates[name]));
  const list = (name: string) => parseCrl(bytes(suite.crls[name]));

  /** What is not claimed, with the reason. Such a case must still never be accepted where it is invalid. */
  const NOT_CLAIMED: [reason: string, count: number, applies: (entry: Case) => boolean][] = [
    ['DSA is no algorithm here', 1, ({ endEntity }) => endEntity.includes('DSA')],
    ['lists of changes (delta)', 5, (entry) => hasListWith(entry, DELTA_LIST)],
    ['lists over a part of the certificates', 20, (entry) => hasListWith(entry, SCOPED_LIST)],
    [
      'lists signed with a key for lists only',
      2,
      ({ endEntity }) => endEntity.includes('SeparateCertificateandCRLKeys'),
    ],
    ['lists by another issuer', 1, ({ endEntity }) => endEntity.includes('cRLIssuer')],
  ];

  function hasListWith(entry: Case, extension: string): boolean {
    return entry.crls.some((name) => list(name).unknownCritical.includes(extension));
  }

  function reasonNotClaimed(entry: Case): string | undefined {
    return NOT_CLAIMED.find(([, , applies]) => applies(entry))?.[0];
  }

  /** Every order of the given certificates that chains by name: a unit is handed one, the suite hands a heap. */
  function chains(chain: Certificate[], heap: readonly Certificate[]): Certificate[][] {
    const top = chain.at(-1)!;
    const next = heap.filter((found) => !chain.includes(found) && sameName(found.subject, top.issuer));
    return [chain, ...next.flatMap((found) => chains([...chain, found], heap))];
  }

  function run(entry: Case): PathVerdict {
    const root = certificate(suite.trustAnchor);
    const heap = entry.otherCertificates.map(certificate);
    const crls: Crl[] = entry.crls.map(list);
    const verdicts = chains([certificate(entry.endEntity)], heap).map((chain) =>
      validatePath({
        chain,
        anchors: [{ name: root.subject.der, spki: root.spki }],
        at,
        crls,
        algorithms: [rsa],
        policies: {
          initialPolicySet: entry.initialPolicySet,
          explicitPolicy: entry.initialExplicitPolicy,
          inhibitMapping: entry.initialPolicyMappingInhibit,
          inhibitAnyPolicy: entry.initialInhibitAnyPolicy,
        },
      }),
    );
    return verdicts.find(({ ok }) => ok) ?? verdicts.at(-1)!;
  }

  function outcome(entry: Case): string {
    try {
      const verdict = run(entry);
      return verdict.ok ? 'valid' : `invalid: ${verdict.code}, ${verdict.detail}`;
    } catch (error) {
      if (error instanceof DerError || error instanceof X509Error) return `invalid: ${error.message}`;
      throw error;
    }
  }

  test.each(cases.filter((entry) => !reasonNotClaimed(entry)))(
    '$id $section $endEntity is $expected',
    (entry) => {
      expect(outcome(entry)).toMatch(new RegExp(`^${entry.expected}`));
    },
  );

  test('what is not claimed is refused or right, never wrongly accepted', () => {
    const wrong = cases.filter((entry) => entry.expected === 'invalid' && outcome(entry) === 'valid');
    expect(wrong.map(({ id }) => id)).toEqual([]);
  });

  test('how much is not claimed, by reason', () => {
    const found = cases.map(reasonNotClaimed);
    const counts = NOT_CLAIMED.map(([reason]) => [reason, found.filter((other) => other === reason).length]);
    expect(counts).toEqual(NOT_CLAIMED.map(([reason, count]) => [reason, count]));
    expect(cases.length).toBe(128);
  });
});
