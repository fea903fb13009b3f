/**
 * Payloads both ways with a processor and an author of other origin (stranger.ts: `cborg` and node:crypto), and OpenSSL's
 * command line for signatures, MACs and certificate chains: draft-ietf-suit-manifest, RFC 9052, RFC 9360, RFC 5280.
 */
import { execFileSync } from 'node:child_process';
import { createPrivateKey, X509Certificate } from 'node:crypto';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { sourceOf, toHex } from '../../src/bytes/index.ts';
import { withMacSecret } from '../../src/keys/index.ts';
import { seal } from '../../src/release/index.ts';
import { checkAuthenticity } from '../../src/unit/index.ts';
import { classKeys, keyPaths } from '../../src/workspace/index.ts';
import { ecdsaFromRaw, parseCertificate, readSubjectKey } from '../../src/x509/index.ts';
import { firmware, prepared, request, secrets } from '../release/setup.ts';
import { check, unitOf, VENT } from '../unit/maker.ts';
import type { TestChain } from '../x509/support.ts';
import {
  author,
  carryOut,
  covered,
  type Device,
  DNS,
  type Opened,
  openEnvelope,
  sectionOf,
  uuid5,
  verifies,
} from './stranger.ts';

const folder = mkdtempSync(join(tmpdir(), 'fieldseal-interop-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const path = (name: string) => join(folder, name);
const openssl = (...args: string[]) =>
  execFileSync('openssl', args, { cwd: folder, encoding: 'utf8', stdio: 'pipe' });

const VENDOR = uuid5(DNS, 'hollinridge.example');
const deviceOf = (model: string, slot = 0): Device => ({ vendor: VENDOR, model: uuid5(VENDOR, model), slot });

describe('sealed here, judged elsewhere', () => {
  async function sealed(more: Parameters<typeof request>[1] = {}) {
    const at = await prepared();
    await seal(request(at, more));
    const bytes = new Uint8Array(readFileSync(join(at.folder, 'vent.suit')));
    return { at, bytes, opened: openEnvelope(bytes), image: readFileSync(at.image) };
  }

  it('[M] 6: the manifest installs the image and starts it, on a device of this class alone', async () => {
    const { opened, image } = await sealed();
    const done = carryOut(opened, deviceOf('VC-2'));
    expect(done.started).toBe(true);
    expect(image.equals(done.image!)).toBe(true);
    expect(() => carryOut(opened, deviceOf('VC-3'))).toThrow('condition 2');
    expect(() => carryOut(opened, { ...deviceOf('VC-2'), vendor: DNS })).toThrow('condition 1');
  });

  it('[M] 7.7: linked images: each slot gets its own', async () => {
    const at = await prepared();
    const images = [firmware(3000, 2), firmware(3500, 3)];
    const paths = images.map((bytes, i) => {
      const file = join(at.folder, `${i}.bin`);
      writeFileSync(file, bytes);
      return { path: file };
    });
    await seal(request(at, { className: 'twin', images: paths }));
    const opened = openEnvelope(new Uint8Array(readFileSync(join(at.folder, 'vent.suit'))));
    for (const [slot, image] of images.entries()) {
      expect(image.equals(carryOut(opened, deviceOf('TW-1', slot)).image!)).toBe(true);
    }
    expect(() => carryOut(opened, deviceOf('TW-1', 2))).toThrow('no branch');
  });

  it('[M] 8.6: severed text has the digest of its byte string', async () => {
    const { opened } = await sealed({ description: 'Vents close in a storm' });
    expect(Array.isArray(opened.manifest.get(23))).toBe(true);
    expect(sectionOf(opened, 23)!.length).toBeGreaterThan(0);
    opened.elements.get(23)![5]! ^= 1;
    expect(() => sectionOf(opened, 23)).toThrow('digest wrong');
  });

  it('RFC 9052 4.4, RFC 9360: node:crypto and `openssl dgst` verify, `openssl verify` trusts the signer', async () => {
    const { at, opened } = await sealed();
    const [signed] = opened.blocks as [Opened['blocks'][number]];
    expect([signed.tag, signed.headers.get(1)]).toEqual([18, -9]);
    const chain = [signed.block[1].get(33)].flat() as Uint8Array[];
    const leaf = new X509Certificate(chain[0]!);
    expect(verifies(signed, opened.digest, leaf.publicKey)).toBe(true);
    expect(
      verifies(
        signed,
        opened.digest.map((byte) => byte ^ 1),
        leaf.publicKey,
      ),
    ).toBe(false);

    const [algorithm, thumbprint] = signed.headers.get(34) as [number, Uint8Array];
    expect([algorithm, toHex(thumbprint)]).toEqual([
      -16,
      leaf.fingerprint256.replaceAll(':', '').toLowerCase(),
    ]);

    writeFileSync(path('signed'), covered(signed, opened.digest));
    writeFileSync(path('signature'), ecdsaFromRaw(signed.block[3]));
    writeFileSync(path('leaf.pem'), chain.map((der) => new X509Certificate(der).toString()).join(''));
    writeFileSync(path('key.pem'), leaf.publicKey.export({ type: 'spki', format: 'pem' }));
    const told = openssl('dgst', '-sha256', '-verify', 'key.pem', '-signature', 'signature', 'signed');
    expect(told.trim()).toBe('Verified OK');

    const root = keyPaths(at.workspace, 'root').certificates;
    const judged = openssl('verify', '-x509_strict', '-CAfile', root, '-untrusted', 'leaf.pem', 'leaf.pem');
    expect(judged.trim()).toBe('leaf.pem: OK');
    const purpose = openssl('x509', '-in', 'leaf.pem', '-noout', '-ext', 'extendedKeyUsage');
    expect(purpose).toContain('Code Signing');
  });

  it('RFC 9052 6.3: `openssl mac` gives the tag of each class and cohort key', async () => {
    const { at, opened } = await sealed({ className: 'dosing' });
    const keys = classKeys(at.workspace, 'dosing');
    expect(opened.blocks.map(({ tag, headers }) => [tag, headers.get(1)])).toEqual(keys.map(() => [17, 5]));
    for (const [i, { description }] of keys.entries()) {
      const block = opened.blocks[i]!;
      writeFileSync(path('maced'), covered(block, opened.digest));
      const access = { file: keyPaths(at.workspace, description.name).secret, secrets, production: false };
      const tag = await withMacSecret(description, access, (secret) =>
        openssl('mac', '-digest', 'SHA256', '-macopt', `hexkey:${toHex(secret)}`, '-in', 'maced', 'HMAC'),
      );
      expect(tag.trim().toLowerCase()).toBe(toHex(block.block[3]));
    }
  });
});

describe.each([
  ['ESP256', -9, 'p256', ['-algorithm', 'EC', '-pkeyopt', 'ec_paramgen_curve:P-256']],
  ['Ed25519', -19, 'ed25519', ['-algorithm', 'ed25519']],
] as const)(
  'sealed elsewhere, with keys and certificates by OpenSSL, judged here: %s',
  (_name, algorithm, type, kind) => {
    const file = (name: string) => `${type}-${name}`;
    const scope = `urn:uuid:${uuidText(uuid5(VENDOR, 'VC-2'))}`;
    const key = (name: string) => openssl('genpkey', ...kind, '-out', file(`${name}.key`));
    const certificate = (name: string) =>
      parseCertificate(new X509Certificate(readFileSync(path(file(`${name}.pem`)))).raw);

    function issued() {
      for (const name of ['root', 'signer']) key(name);
      const ca = ['basicConstraints=critical,CA:TRUE', 'keyUsage=critical,keyCertSign,cRLSign'];
      const extensions = ca.flatMap((each) => ['-addext', each]);
      const self = ['-x509', '-new', '-subj', '/O=Hollin Ridge/CN=root', '-days', '30', ...extensions];
      openssl('req', ...self, '-key', file('root.key'), '-out', file('root.pem'));
      openssl(
        'req',
        '-new',
        '-subj',
        '/O=Hollin Ridge/CN=line-1',
        '-key',
        file('signer.key'),
        '-out',
        file('signer.csr'),
      );
      const profile = [
        'basicConstraints=critical,CA:FALSE',
        'keyUsage=critical,digitalSignature',
        'extendedKeyUsage=critical,codeSigning',
        `subjectAltName=URI:${scope}`,
        'authorityKeyIdentifier=keyid',
      ];
      writeFileSync(path(file('profile')), profile.join('\n'));
      const by = ['-CA', file('root.pem'), '-CAkey', file('root.key'), '-extfile', file('profile')];
      openssl('x509', '-req', '-in', file('signer.csr'), ...by, '-days', '30', '-out', file('signer.pem'));
      return { root: certificate('root'), signer: certificate('signer') };
    }

    const { root, signer } = issued();
    const anchor = { name: root.subject.der, spki: root.spki };
    const unit = unitOf({ anchor } as TestChain, { type });
    const image = new Uint8Array(firmware(4000, 5));
    const envelope = (changes: Partial<Parameters<typeof author>[0]> = {}) =>
      author({
        ...{ device: deviceOf('VC-2'), number: 7, image, algorithm, chain: [signer.der] },
        key: createPrivateKey(readFileSync(path(file('signer.key')))),
        ...changes,
      });

    it('the class identifier is the same, derived there and here (RFC 9562 5.5)', () => {
      expect(toHex(uuid5(VENDOR, 'VC-2'))).toBe(toHex(VENT));
    });

    it('[M] 6: a unit of the class accepts it; so does a check under the bare key', () => {
      expect(check(unit, envelope())).toMatchObject({ verdict: 'accepted', refusal: null });
      const byKey = checkAuthenticity({ envelope: sourceOf(envelope()), key: readSubjectKey(signer.spki)! });
      expect(byKey).toMatchObject({ verdict: 'accepted', refusal: null });
    });

    it.each([
      ['for another class', () => envelope({ device: deviceOf('DC-1') }), 'class-wrong'],
      ['by a key that the certificate is not of', () => envelope({ key: foreign() }), 'signature-wrong'],
      [
        'with the root in the place of the signer',
        () => envelope({ chain: [root.der] }),
        'signer-purpose-wrong',
      ],
    ])('a unit refuses one %s', (_what, make, code) => {
      const { verdict, refusal } = check(unit, make());
      expect(verdict).toBe('refused');
      expect(refusal!.code).toBe(code);
    });

    it('one bit anywhere: never accepted', () => {
      const genuine = envelope();
      for (let bit = 0; bit < genuine.length * 8; bit += 203) {
        const changed = genuine.slice();
        changed[bit >> 3]! ^= 1 << (bit & 7);
        expect(check(unit, changed).verdict, `bit ${bit}`).not.toBe('accepted');
      }
    });

    function foreign() {
      key('foreign');
      return createPrivateKey(readFileSync(path(file('foreign.key'))));
    }
  },
);

function uuidText(bytes: Uint8Array): string {
  return toHex(bytes).replace(/(.{8})(.{4})(.{4})(.{4})(.{12})/, '$1-$2-$3-$4-$5');
}
