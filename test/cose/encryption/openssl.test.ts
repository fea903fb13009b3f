/**
 * The OpenSSL command as judge of what we write. `openssl enc` takes no AEAD; but AES-GCM encrypts as AES-CTR from counter
 * block nonce || 2 (NIST SP 800-38D section 7.1), ChaCha20-Poly1305 as ChaCha20 from block 1 (RFC 8439 section 2.8), and
 * the GCM tag of no content is the GMAC of the AAD.
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../../src/bytes/index.ts';
import { kdfContext } from '../../../src/cose/encryption/kdf-context.ts';
import { distributionOf } from '../../../src/cose/encryption/unwrap.ts';
import {
  type ContentAlgorithm,
  heldWrappingKey,
  openEncryptionInfo,
  publicKeyRecipient,
  SUIT_PAYLOAD_ENCRYPTION,
  startEncrypt,
  wrappingKeyUnwrapper,
} from '../../../src/cose/index.ts';
import { generateAgreementKey } from '../../../src/crypto/index.ts';
import { A128CTR, A128GCM, A256CTR, A256GCM, CHACHA, readInfo } from './support.ts';

const KEK = new Uint8Array(16).fill(0x6b);
const IMAGE = new Uint8Array(100_003).map((_, i) => i * 13);
const present = spawnSync('openssl', ['version']).status === 0;
const openssl = (input: Uint8Array, ...args: string[]) => execFileSync('openssl', args, { input });

async function sealed(algorithm: ContentAlgorithm, image: Uint8Array) {
  const running = await startEncrypt({ algorithm, recipients: [heldWrappingKey(KEK)] });
  const body = running.update(image);
  const tag = running.final();
  const opened = openEncryptionInfo(running.info, [wrappingKeyUnwrapper(KEK)], { algorithms: [algorithm] });
  if (!opened.ok) throw new Error(opened.detail);
  return { ...opened.content, info: running.info, body, tag };
}

describe.skipIf(!present)('openssl decrypts what we encrypt', () => {
  it.each([
    ['-aes-128-ctr', A128CTR, '', ''],
    ['-aes-256-ctr', A256CTR, '', ''],
    ['-aes-128-ctr', A128GCM, '', '00000002'],
    ['-aes-256-ctr', A256GCM, '', '00000002'],
    ['-chacha20', CHACHA, '01000000', ''],
  ])('enc %s (%#)', async (cipher, algorithm, before, after) => {
    const { key, iv, body } = await sealed(algorithm, IMAGE);
    const back = openssl(body, 'enc', '-d', cipher, '-K', toHex(key), '-iv', before + toHex(iv) + after);
    expect(Buffer.compare(back, IMAGE)).toBe(0);
  });

  it('mac GMAC: the tag over no content', async () => {
    const { key, iv, aad, tag } = await sealed(A128GCM, new Uint8Array(0));
    const options = [
      '-cipher',
      'AES-128-GCM',
      '-macopt',
      `hexkey:${toHex(key)}`,
      '-macopt',
      `hexiv:${toHex(iv)}`,
    ];
    const mac = openssl(aad, 'mac', ...options, 'GMAC')
      .toString()
      .trim();
    expect(mac.toLowerCase()).toBe(toHex(tag));
  });

  it('enc -id-aes128-wrap: the wrapped content key', async () => {
    const { key, info } = await sealed(A128CTR, IMAGE);
    const wrapped = readInfo(info).recipients[0]!.ciphertext!;
    const back = openssl(
      wrapped,
      'enc',
      '-d',
      '-id-aes128-wrap',
      '-K',
      toHex(KEK),
      '-iv',
      'a6a6a6a6a6a6a6a6',
    );
    expect(toHex(back)).toBe(toHex(key));
  });

  it('pkeyutl, kdf, enc: a device with nothing but openssl opens an ECDH-ES+A128KW recipient and the image', async () => {
    const device = generateAgreementKey('p256');
    const running = await startEncrypt({
      algorithm: A128CTR,
      recipients: [publicKeyRecipient(device.publicKey)],
      other: SUIT_PAYLOAD_ENCRYPTION,
    });
    const body = running.update(IMAGE);
    const { headers, recipients } = readInfo(running.info);
    const layer = recipients[0]!;
    const folder = mkdtempSync(join(tmpdir(), 'fieldseal-'));
    try {
      const [own, peer] = [join(folder, 'own.pem'), join(folder, 'peer.der')];
      writeFileSync(own, device.handle.export({ format: 'pem', type: 'pkcs8' }), { mode: 0o600 });
      writeFileSync(peer, ephemeralSpki(running.info));
      const derive = ['pkeyutl', '-derive', '-inkey', own, '-peerkey', peer, '-peerform', 'DER'];
      const secret = openssl(new Uint8Array(0), ...derive);
      const algorithm = distributionOf(layer.headers)!;
      if (algorithm.kind !== 'agreement') return expect.unreachable();
      const context = kdfContext({ algorithm, headers: layer.headers, other: SUIT_PAYLOAD_ENCRYPTION });
      const kdf = [
        '-kdfopt',
        'digest:SHA256',
        '-kdfopt',
        `hexkey:${toHex(secret)}`,
        '-kdfopt',
        `hexinfo:${toHex(context)}`,
      ];
      const kek = openssl(new Uint8Array(0), 'kdf', '-keylen', '16', ...kdf, 'HKDF')
        .toString()
        .trim();
      const unwrap = [
        'enc',
        '-d',
        '-id-aes128-wrap',
        '-K',
        kek.replaceAll(':', ''),
        '-iv',
        'a6a6a6a6a6a6a6a6',
      ];
      const cek = openssl(layer.ciphertext!, ...unwrap);
      const iv = (headers.get(5) as { value: Uint8Array }).value;
      const back = openssl(body, 'enc', '-d', '-aes-128-ctr', '-K', toHex(cek), '-iv', toHex(iv));
      expect(Buffer.compare(back, IMAGE)).toBe(0);
    } finally {
      rmSync(folder, { recursive: true });
    }
  });
});

/** The ephemeral public key, found in the bytes: x after 215820, y after 225820. */
function ephemeralSpki(info: Uint8Array): Uint8Array {
  const [, x, y] = /215820(.{64})225820(.{64})/.exec(toHex(info))!;
  return fromHex(`3059301306072a8648ce3d020106082a8648ce3d03010703420004${x}${y}`);
}
