/**
 * RFC 5280, RFC 2986, RFC 5958, RFC 8410 both ways with GnuTLS `certtool`: what is written here it accepts, and what it
 * writes is read here. A second judge beside OpenSSL, with a DER reader and a path validation of its own.
 */
import { beforeAll, describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { createSigningKey, type KeyDescription, openSigner } from '../../src/keys/index.ts';
import {
  type Certificate,
  fingerprint,
  fromPem,
  issuerOf,
  judgeSigner,
  OID,
  onePem,
  parseCertificate,
  parseCrl,
  parseRequest,
  toPem,
  validatePath,
  writeCrl,
  writeRequest,
} from '../../src/x509/index.ts';
import { PASSPHRASE, secrets } from '../release/secrets.ts';
import { anchorOf, CLASS_SCOPE, issue, named, OTHER_SCOPE, type TestKey, testKey } from '../x509/support.ts';
import { certtoolIn, certtoolPresent } from './certtool.ts';

const DAY = 86_400_000;
/** certtool judges by the clock of the machine. */
const dates = { notBefore: new Date(Date.now() - DAY), notAfter: new Date(Date.now() + 365 * DAY) };
const tool = certtoolIn('gnutls');
/** certtool takes the passphrase of a key file as an argument only; this one protects test keys. */
const opening = ['--pkcs8', '--password', PASSPHRASE];
const pem = (...certificates: { der: Uint8Array }[]) =>
  certificates.map(({ der }) => toPem('CERTIFICATE', der)).join('');

/** GnuTLS writes octets as `aa:bb`, over several lines. */
const hexIn = (text: string) => text.replace(/[\s:]/g, '').toLowerCase();

type Type = 'p256' | 'ed25519';

interface Chain {
  keys: { root: TestKey; intermediate: TestKey; signer: TestKey };
  root: Certificate;
  intermediate: Certificate;
  signer: Certificate;
}

async function currentChain(type: Type): Promise<Chain> {
  const keys = { root: testKey(type), intermediate: testKey(type), signer: testKey(type) };
  const root = await issue({ profile: 'root', publicKey: keys.root.spki, ...dates }, keys.root);
  const intermediate = await issue(
    { profile: 'intermediate', publicKey: keys.intermediate.spki, issuer: issuerOf(root), ...dates },
    keys.root,
  );
  const rights = { scopes: [CLASS_SCOPE, OTHER_SCOPE], generation: 300 };
  const signer = await issue(
    { profile: 'signer', publicKey: keys.signer.spki, issuer: issuerOf(intermediate), ...rights, ...dates },
    keys.intermediate,
  );
  return { keys, root, intermediate, signer };
}

describe.skipIf(!certtoolPresent).each(['p256', 'ed25519'] as const)('certtool judges ours: %s', (type) => {
  let chain: Chain;
  const file = (name: string) => `${type}-${name}.pem`;

  beforeAll(async () => {
    chain = await currentChain(type);
    tool.put(file('root'), pem(chain.root));
    tool.put(file('chain'), pem(chain.signer, chain.intermediate));
  });

  it('RFC 5280 6.1: --verify trusts root, intermediate and signer', () => {
    const told = tool.run('--verify', '--load-ca-certificate', file('root'), '--infile', file('chain'));
    expect(told.text).toContain('Chain verification output: Verified. The certificate is trusted.');
    expect(told.status).toBe(0);
  });

  it('RFC 5280 6.1: --verify refuses the signer under another root', async () => {
    const other = await currentChain(type);
    tool.put(file('other'), pem(other.root));
    const told = tool.run('--verify', '--load-ca-certificate', file('other'), '--infile', file('chain'));
    expect(told.text).toContain('Not verified');
    expect(told.status).not.toBe(0);
  });

  it('RFC 5280 4.2: --certificate-info reads the profile of the signer', () => {
    tool.put(file('signer'), pem(chain.signer));
    const text = tool.out('--certificate-info', '--infile', file('signer'));
    expect(text).toMatch(/Key Usage \(critical\):\s+Digital signature\./);
    expect(text).toMatch(/Key Purpose \(critical\):\s+Code signing\./);
    expect(text).toMatch(/Basic Constraints \(critical\):\s+Certificate Authority \(CA\): FALSE/);
    expect(text).toContain(`URI: ${CLASS_SCOPE}`);
    expect(text).toContain(`URI: ${OTHER_SCOPE}`);
    expect(text).toContain(OID.signerGeneration);
    expect(hexIn(text)).toContain(`serialnumber(hex)${chain.signer.serial}`);
  });

  it('RFC 2986: --crq-info finds the signature of a request right', async () => {
    const key = testKey(type);
    const asked = { subject: named('line-1'), publicKey: key.spki, scopes: [CLASS_SCOPE], generation: 2 };
    const request = await writeRequest({ profile: 'signer', trial: true, ...asked }, key.sign);
    tool.put(file('request'), toPem('CERTIFICATE REQUEST', request));
    const text = tool.out('--crq-info', '--infile', file('request'));
    expect(text).toContain('Self signature: verified');
    expect(text).toContain(`URI: ${CLASS_SCOPE}`);
    expect(text).toContain('OU=TRIAL - not for production');
  });

  it('RFC 5280 5: --verify-crl trusts a list, and --verify with it refuses what it names', async () => {
    const { keys, intermediate, signer } = chain;
    const { notBefore: thisUpdate, notAfter: nextUpdate } = dates;
    const revoked = [{ serial: signer.serial, date: thisUpdate, reason: 'keyCompromise' }] as const;
    const about = { issuer: issuerOf(intermediate), number: 1, thisUpdate, nextUpdate, revoked };
    tool.put(file('list'), toPem('X509 CRL', await writeCrl(about, keys.intermediate.sign)));
    tool.put(file('intermediate'), pem(intermediate));
    const authority = ['--load-ca-certificate', file('intermediate')];
    const judged = tool.run('--verify-crl', ...authority, '--infile', file('list'));
    expect(judged.text).toContain('Verification output: Verified.');
    const text = tool.out('--crl-info', '--infile', file('list'));
    expect(hexIn(text)).toContain(`serialnumber(hex)${signer.serial}`);
    const authorities = ['--load-ca-certificate', file('root'), '--load-crl', file('list')];
    const refused = tool.run('--verify', ...authorities, '--infile', file('chain'));
    expect(refused.text).toContain('revoked');
    expect(refused.status).not.toBe(0);
  });
});

describe.skipIf(!certtoolPresent)('certtool and the keys in files (RFC 5958, RFC 8018)', () => {
  it.each(['p256', 'ed25519'] as const)('--pubkey-info opens what is written here: %s', async (type) => {
    const path = tool.path(`ours-${type}.pem`);
    const made = await createSigningKey(
      {
        name: 'line-1',
        purpose: 'signer',
        trial: true,
        created: new Date(),
        type,
        place: { custody: 'file', path },
      },
      secrets,
    );
    tool.out('--pubkey-info', '--load-privkey', `ours-${type}.pem`, ...opening, '--outfile', 'public.pem');
    expect(toHex(onePem(tool.read('public.pem'), 'PUBLIC KEY'))).toBe(made.description.spki);
  });

  it.each([
    ['p256', ['--key-type', 'ecdsa', '--curve', 'secp256r1']],
    ['ed25519', ['--key-type', 'ed25519']],
  ] as const)('--generate-privkey --pkcs8: what it writes opens here: %s', async (type, kind) => {
    const name = `theirs-${type}.pem`;
    tool.out('--generate-privkey', ...kind, ...opening, '--pkcs-cipher', 'aes-256', '--outfile', name);
    tool.out('--pubkey-info', '--load-privkey', name, ...opening, '--outfile', 'public.pem');
    const spki = toHex(onePem(tool.read('public.pem'), 'PUBLIC KEY'));
    const description: KeyDescription = {
      ...{ format: 'fieldseal.key/1', name: 'line-1', purpose: 'signer', custody: 'file', trial: false },
      ...{ algorithm: type === 'p256' ? 'ESP256' : 'Ed25519', created: new Date().toISOString() },
      ...{ spki, fingerprint: fingerprint(fromHex(spki)) },
    } as const;
    const signer = await openSigner(description, { file: tool.path(name), secrets, production: false });
    expect(toHex(signer.publicKey)).toBe(spki);
  });
});

describe.skipIf(!certtoolPresent).each([
  ['p256', ['--key-type', 'ecdsa', '--curve', 'secp256r1']],
  ['ed25519', ['--key-type', 'ed25519']],
] as const)('what certtool issues is read and judged here: %s', (type, kind) => {
  const file = (name: string) => `by-certtool-${type}-${name}`;
  const certificate = (name: string) =>
    parseCertificate(onePem(tool.read(file(`${name}.pem`)), 'CERTIFICATE'));
  const key = (name: string) => tool.out('--generate-privkey', ...kind, '--outfile', file(`${name}.key`));
  const template = (name: string, ...lines: string[]) => {
    const days = ['expiration_days = 365', 'organization = "Hollin Ridge"'];
    tool.put(file(`${name}.cfg`), [...days, ...lines, ''].join('\n'));
  };
  const authority = ['--load-ca-certificate', file('root.pem'), '--load-ca-privkey', file('root.key')];

  beforeAll(() => {
    template('root', 'cn = "root"', 'ca', 'cert_signing_key', 'crl_signing_key', 'path_len = 0');
    const rights = ['signing_key', 'code_signing_key', `uri = "${CLASS_SCOPE}"`];
    template('signer', 'cn = "line-1"', ...rights);
    for (const name of ['root', 'signer']) key(name);
    const made = (name: string) => ['--template', file(`${name}.cfg`), '--outfile', file(`${name}.pem`)];
    tool.out('--generate-self-signed', '--load-privkey', file('root.key'), ...made('root'));
    tool.out('--generate-certificate', '--load-privkey', file('signer.key'), ...authority, ...made('signer'));
  });

  it('RFC 5280 6.1: its chain is valid here, and its signer may sign for the class', () => {
    const [root, signer] = [certificate('root'), certificate('signer')];
    const anchors = [anchorOf(root)];
    expect(validatePath({ chain: [signer], anchors, at: new Date() })).toMatchObject({ ok: true });
    const demands = { scopes: [CLASS_SCOPE], minimumGeneration: 0, denied: [] };
    expect(judgeSigner(signer, demands)).toEqual({ ok: true });
    expect(judgeSigner(signer, { ...demands, scopes: [OTHER_SCOPE] })).toMatchObject({
      code: 'signer-scope',
    });
    expect(judgeSigner(root, demands)).toMatchObject({ code: 'signer-purpose' });
  });

  it('RFC 2986: its request is read, with what it asks for', () => {
    const template = ['--load-privkey', file('signer.key'), '--template', file('signer.cfg')];
    tool.out('--generate-request', ...template, '--outfile', file('request.pem'));
    const [block] = fromPem(tool.read(file('request.pem')));
    const request = parseRequest(block!.der);
    expect(toHex(request.spki)).toBe(toHex(certificate('signer').spki));
    expect(request.subject.text).toContain('line-1');
    expect(request.subjectAltUris).toEqual([CLASS_SCOPE]);
    expect(request.extKeyUsage).toEqual(certificate('signer').extKeyUsage);
  });

  it('RFC 5280 5: its list is read, and what it names is refused', () => {
    const [root, signer] = [certificate('root'), certificate('signer')];
    template('list', 'crl_next_update = 30', 'crl_number = 5');
    const about = ['--template', file('list.cfg'), '--outfile', file('list.pem')];
    const list = () => parseCrl(onePem(tool.read(file('list.pem')), 'X509 CRL'));
    const judge = () =>
      validatePath({ chain: [signer], anchors: [anchorOf(root)], at: new Date(), crls: [list()] });
    tool.out('--generate-crl', ...authority, ...about);
    expect(judge()).toMatchObject({ ok: true });
    tool.out('--generate-crl', ...authority, '--load-certificate', file('signer.pem'), ...about);
    expect([...list().revoked.keys()]).toEqual([signer.serial]);
    expect(judge()).toMatchObject({ ok: false, code: 'revoked' });
  });
});
