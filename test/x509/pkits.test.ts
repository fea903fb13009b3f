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
  contextTag,
  DerError,
  type DerReader,
  type PathVerdict,
  parseCertificate,
  parseCrl,
  readDer,
  sameName,
  validatePath,
  X509Error,
} from '../../src/x509/index.ts';
import { partition, type SkipReason, vectors, vectorsPresent } from '../vectors.ts';

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
/** Section 4.2.1.13, and the field of a distribution point that names another issuer. */
const DISTRIBUTION_POINTS = '2.5.29.31';

/** Some are damaged on purpose: what cannot be read is as good as absent. */
function readable<T>(read: (name: string) => T): (name: string) => T[] {
  return (name) => {
    try {
      return [read(name)];
    } catch (error) {
      if (error instanceof DerError || error instanceof X509Error) return [];
      throw error;
    }
  };
}

function hasOtherListIssuer({ extensions }: Certificate): boolean {
  const points = extensions.find(({ oid }) => oid === DISTRIBUTION_POINTS);
  if (!points) return false;
  const tags = readDer(points.value, (reader) =>
    reader.enter().each((point) => tagsOf(point.enter())),
  ).flat();
  return tags.includes(contextTag(2, 'constructed'));
}

function tagsOf(reader: DerReader): number[] {
  const tags: number[] = [];
  for (let tag = reader.peek(); tag !== undefined; tag = reader.peek()) {
    tags.push(tag);
    reader.element(tag);
  }
  return tags;
}

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

  /** What is not claimed, as it shows in the certificates and lists of a case. It must still never be wrongly accepted. */
  const NOT_CLAIMED: readonly SkipReason<Case>[] = [
    [
      'an algorithm other than RSA with SHA-256',
      (entry) => algorithmsOf(entry).some((oid) => oid !== rsa.oid),
    ],
    ['a list of changes (delta)', (entry) => hasListWith(entry, DELTA_LIST)],
    ['a list over a part of the certificates', (entry) => hasListWith(entry, SCOPED_LIST)],
    ['a list signed with a key for lists only', hasSeparateListKey],
    ['a list by another issuer', (entry) => certificatesOf(entry).some(hasOtherListIssuer)],
  ];

  const certificatesOf = (entry: Case) =>
    [entry.endEntity, ...entry.otherCertificates].flatMap(readable(certificate));
  const listsOf = (entry: Case) => entry.crls.flatMap(readable(list));

  function algorithmsOf(entry: Case): string[] {
    return [...certificatesOf(entry), ...listsOf(entry)].map((each) => each.signatureAlgorithm);
  }

  function hasListWith(entry: Case, extension: string): boolean {
    return listsOf(entry).some((crl) => crl.unknownCritical.includes(extension));
  }

  function hasSeparateListKey(entry: Case): boolean {
    const found = certificatesOf(entry);
    const forLists = found.filter(
      ({ keyUsage }) => keyUsage?.includes('cRLSign') && !keyUsage.includes('keyCertSign'),
    );
    return forLists.some((one) => found.some((two) => two !== one && sameName(one.subject, two.subject)));
  }

  /** Every order of the given certificates that chains by name: a unit is handed one, the suite hands a heap. */
  function chains(chain: Certificate[], heap: readonly Certificate[]): Certificate[][] {
    const top = chain.at(-1)!;
    const next = heap.filter((found) => !chain.includes(found) && sameName(found.subject, top.issuer));
    return [chain, ...next.flatMap((found) => chains([...chain, found], heap))];
  }

  function run(entry: Case): PathVerdict {
    const root = certificate(suite.trustAnchor);
    const heap = entry.otherCertificates.flatMap(readable(certificate));
    const crls: Crl[] = listsOf(entry);
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

  const { judged, skipped } = partition(cases, NOT_CLAIMED);

  test('most cases are judged; each of the others has its reason', () => {
    expect(judged.length).toBeGreaterThan(skipped.length);
  });

  test.each(judged)('$id $section $endEntity is $expected', (entry) => {
    expect(outcome(entry)).toMatch(new RegExp(`^${entry.expected}`));
  });

  test('what is not claimed is refused or right, never wrongly accepted', () => {
    const invalid = skipped.filter(({ entry }) => entry.expected === 'invalid');
    expect(invalid.filter(({ entry }) => outcome(entry) === 'valid')).toEqual([]);
  });
});
