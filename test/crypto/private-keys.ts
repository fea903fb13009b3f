import { createECDH, createPrivateKey } from 'node:crypto';
import { fromHex } from '../../src/bytes/index.ts';
import {
  type AgreementPrivateKey,
  agreementPrivateKey,
  readAgreementPrivateKey,
} from '../../src/crypto/index.ts';

/** A published P-256 private key: a big-endian integer in hexadecimal, leading zeros or not. */
export function p256PrivateKey(dHex: string): AgreementPrivateKey {
  const d = Buffer.from(dHex.replace(/^(00)+/, '').padStart(64, '0'), 'hex');
  const curve = createECDH('prime256v1');
  curve.setPrivateKey(d);
  const point = curve.getPublicKey();
  const [x, y] = [point.subarray(1, 33), point.subarray(33)].map((part) => part.toString('base64url'));
  const key = { kty: 'EC', crv: 'P-256', x, y, d: d.toString('base64url') };
  return agreementPrivateKey(createPrivateKey({ key, format: 'jwk' }));
}

/** A published X25519 private key, 32 bytes in hexadecimal (RFC 7748), in the PKCS#8 form of RFC 8410 section 7. */
export function x25519PrivateKey(scalarHex: string): AgreementPrivateKey {
  return readAgreementPrivateKey(fromHex(`302e020100300506032b656e04220420${scalarHex}`));
}
