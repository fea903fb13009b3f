/**
 * One table of chains, each judged here and by `openssl verify -x509_strict`: both must say the same. Where OpenSSL
 * 3.0 cannot judge (a purpose it does not know of on the command line), the row says so.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import {
  type Certificate,
  type Crl,
  der,
  issuerOf,
  OID,
  type PathRefusal,
  parseCrl,
  toPem,
  validatePath,
  writeCrl,
} from '../../src/x509/index.ts';
import {
  altered,
  basicConstraints,
  CRL_SIGN,
  DIGITAL_SIGNATURE,
  extension,
  KEY_CERT_SIGN,
  keyUsage,
  rawParsed,
  utcTime,
} from './rewrite.ts';
import { anchorOf, FROM, NOW, named, type TestKey, testKey, UNTIL } from './support.ts';

const present = spawnSync('openssl', ['version']).status === 0;
const folder = present ? mkdtempSync(join(tmpdir(), 'x509-chains-')) : '';
afterAll(() => present && rmSync(folder, { recursive: true }));

const keys = { root: testKey(), middle: testKey(), lower: testKey(), leaf: testKey(), stranger: testKey() };
let root: Certificate;

const identifiers = (own: TestKey, above: TestKey) => [
  extension(OID.subjectKeyIdentifier, false, der.octetString(nameKey(own))),
  extension(OID.authorityKeyIdentifier, false, der.sequence(der.primitive(0, nameKey(above)))),
];
const nameKey = ({ spki }: TestKey) => spki.slice(-20);
const codeSigning = extension(OID.extKeyUsage, true, der.sequence(der.oid(OID.codeSigning)));
const mailOnly = extension(OID.extKeyUsage, true, der.sequence(der.oid('1.3.6.1.5.5.7.3.4')));
const dns = (host: string) => der.primitive(2, new TextEncoder().encode(host));
const altName = extension(OID.subjectAltName, false, der.sequence(dns('line.hollinridge.example')));
const constraint = (number: 0 | 1, host: string) =>
  extension(OID.nameConstraints, true, der.sequence(der.constructed(number, der.sequence(dns(host)))));
const unknown = extension('2.25.99', true, der.null());

const AUTHORITY = [basicConstraints(true), keyUsage(KEY_CERT_SIGN, CRL_SIGN)];
const LEAF = [basicConstraints(false), keyUsage(DIGITAL_SIGNATURE), codeSigning, altName];

interface Row {
  what: string;
  middle?: Uint8Array[];
  lower?: Uint8Array[];
  leaf?: Uint8Array[];
  leafEnd?: Date;
  leafIssuer?: string;
  leafSigner?: TestKey;
  change?: (leaf: Certificate) => Certificate;
  lists?: 'clean' | 'revoked' | 'stale' | 'missing';
  refusal?: PathRefusal;
  opensslDiffers?: string;
}

const table: Row[] = [
  { what: 'one intermediate' },
  { what: 'two intermediates', lower: AUTHORITY },
  {
    what: 'path length 0, one authority more',
    middle: [basicConstraints(true, 0), keyUsage(KEY_CERT_SIGN, CRL_SIGN)],
    lower: AUTHORITY,
    refusal: 'path-too-long',
  },
  {
    what: 'path length 1, one authority more',
    middle: [basicConstraints(true, 1), keyUsage(KEY_CERT_SIGN, CRL_SIGN)],
    lower: AUTHORITY,
  },
  {
    what: 'unknown critical extension in the signer',
    leaf: [...LEAF, unknown],
    refusal: 'critical-extension-unknown',
  },
  {
    what: 'unknown critical extension in the authority',
    middle: [...AUTHORITY, unknown],
    refusal: 'critical-extension-unknown',
  },
  {
    what: 'authority without basicConstraints',
    middle: [keyUsage(KEY_CERT_SIGN)],
    refusal: 'not-an-authority',
  },
  {
    what: 'authority with cA false',
    middle: [basicConstraints(false), keyUsage(DIGITAL_SIGNATURE)],
    refusal: 'not-an-authority',
  },
  {
    what: 'authority without keyCertSign',
    middle: [basicConstraints(true), keyUsage(CRL_SIGN)],
    refusal: 'key-usage',
  },
  { what: 'expired', leafEnd: new Date('2026-06-01T00:00:00Z'), refusal: 'expired' },
  { what: 'altered', change: altered, refusal: 'signature-wrong' },
  { what: 'signed by a stranger under the same name', leafSigner: keys.stranger, refusal: 'signature-wrong' },
  { what: 'wrong issuer name', leafIssuer: 'elsewhere', refusal: 'issuer-mismatch' },
  { what: 'name inside the permitted subtree', middle: [...AUTHORITY, constraint(0, 'hollinridge.example')] },
  {
    what: 'name outside the permitted subtree',
    middle: [...AUTHORITY, constraint(0, 'other.example')],
    refusal: 'name-not-permitted',
  },
  {
    what: 'name in the excluded subtree',
    middle: [...AUTHORITY, constraint(1, 'hollinridge.example')],
    refusal: 'name-not-permitted',
  },
  { what: 'name outside the excluded subtree', middle: [...AUTHORITY, constraint(1, 'other.example')] },
  { what: 'lists that clear', lists: 'clean' },
  { what: 'revoked', lists: 'revoked', refusal: 'revoked' },
  { what: 'a stale list', lists: 'stale', refusal: 'crl-stale' },
  { what: 'a missing list', lists: 'missing', refusal: 'crl-missing' },
  {
    what: 'signer for mail',
    leaf: [basicConstraints(false), keyUsage(DIGITAL_SIGNATURE), mailOnly, altName],
    refusal: 'purpose-not-allowed',
    opensslDiffers: 'no code-signing purpose in 3.0',
  },
];

async function build(row: Row): Promise<{ chain: Certificate[]; crls: Crl[] | undefined }> {
  const authorities: Certificate[] = [];
  let [issuer, key] = [root.subject, keys.root];
  for (const [name, extensions] of [
    ['middle', row.middle ?? AUTHORITY],
    ['lower', row.lower],
  ] as const) {
    if (!extensions) continue;
    const own = keys[name];
    authorities.unshift(
      await rawParsed(
        {
          issuer,
          subject: named(name),
          spki: own.spki,
          extensions: [...extensions, ...identifiers(own, key)],
        },
        key,
      ),
    );
    [issuer, key] = [named(name), own];
  }
  const leaf = await rawParsed(
    {
      issuer: row.leafIssuer ? named(row.leafIssuer) : issuer,
      subject: named('signer'),
      validity: [utcTime(FROM), utcTime(row.leafEnd ?? UNTIL)],
      spki: keys.leaf.spki,
      extensions: [...(row.leaf ?? LEAF), ...identifiers(keys.leaf, key)],
    },
    row.leafSigner ?? key,
  );
  const chain = [row.change?.(leaf) ?? leaf, ...authorities];
  return { chain, crls: row.lists && (await listsFor(row.lists, chain)) };
}

async function listsFor(kind: NonNullable<Row['lists']>, [leaf, middle]: Certificate[]): Promise<Crl[]> {
  const nextUpdate = kind === 'stale' ? new Date('2026-02-01T00:00:00Z') : UNTIL;
  const revoked = kind === 'revoked' ? [{ serial: leaf!.serial, date: NOW }] : [];
  const part = { number: 1, thisUpdate: FROM };
  const top = await writeCrl(
    { ...part, issuer: issuerOf(root), nextUpdate: UNTIL, revoked: [] },
    keys.root.sign,
  );
  const own = await writeCrl({ ...part, issuer: issuerOf(middle!), nextUpdate, revoked }, keys.middle.sign);
  return (kind === 'missing' ? [top] : [top, own]).map(parseCrl);
}

function openssl(chain: readonly Certificate[], crls: readonly Crl[] | undefined): string {
  const pem = (certificates: readonly Certificate[]) =>
    certificates.map((one) => toPem('CERTIFICATE', one.der)).join('');
  const put = (name: string, text: string) => {
    writeFileSync(join(folder, name), text);
    return join(folder, name);
  };
  const lists = crls
    ? ['-crl_check_all', '-CRLfile', put('lists.pem', crls.map((crl) => toPem('X509 CRL', crl.der)).join(''))]
    : [];
  const files = [
    '-CAfile',
    put('root.pem', pem([root])),
    '-untrusted',
    put('above.pem', pem(chain.slice(1))),
  ];
  const at = String(NOW.getTime() / 1000);
  const { status, stderr } = spawnSync(
    'openssl',
    ['verify', '-x509_strict', '-attime', at, ...lists, ...files, put('leaf.pem', pem(chain.slice(0, 1)))],
    { encoding: 'utf8' },
  );
  return status === 0 ? 'valid' : `invalid: ${stderr}`;
}

describe('chains', () => {
  beforeAll(async () => {
    root = await rawParsed(
      {
        issuer: named('root'),
        subject: named('root'),
        spki: keys.root.spki,
        extensions: [...AUTHORITY, ...identifiers(keys.root, keys.root)],
      },
      keys.root,
    );
  });

  test.each(table)('$what', async (row) => {
    const { chain, crls } = await build(row);
    const verdict = validatePath({
      chain,
      crls,
      anchors: [anchorOf(root)],
      at: NOW,
      purpose: OID.codeSigning,
    });
    expect(verdict.ok ? undefined : verdict.code).toBe(row.refusal);
    if (!present) return;
    const judged = openssl(chain, crls);
    expect(judged).toMatch(row.refusal && !row.opensslDiffers ? /^invalid/ : /^valid/);
  });
});
