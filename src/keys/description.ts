/** Key descriptions: what git carries of a key (keys/NAME.json). Public facts only. */
import * as z from 'zod';
import { fromHex, toHex } from '../bytes/index.ts';
import { hssShape } from '../crypto/index.ts';
import { fingerprint } from '../x509/index.ts';
import { KeyError } from './error.ts';

const hex = z.string().regex(/^(?:[0-9a-f]{2})+$/, 'expected pairs of lower-case hexadecimal digits');

/** Shape of keys/NAME.json. */
export const keyDescriptionSchema = z.strictObject({
  format: z.literal('fieldseal.key/1'),
  name: z.string().regex(/^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/, 'expected a short name, such as line-1'),
  purpose: z.enum(['root', 'signer', 'approver', 'class', 'cohort', 'content', 'station']),
  custody: z.enum(['file', 'token', 'offline']),
  /** Name in the COSE registry (IANA). */
  algorithm: z.enum(['ESP256', 'Ed25519', 'HSS-LMS', 'HMAC 256/256', 'A128KW', 'A256KW']),
  /** DER SubjectPublicKeyInfo of a signing key. */
  spki: hex.optional(),
  /** Check value of a secret key. */
  check_value: hex.optional(),
  /** Of a signing key the SHA-256 of `spki`; of a secret key its check value. */
  fingerprint: hex,
  trial: z.boolean(),
  created: z.iso.datetime(),
  token: z.strictObject({ uri: z.string() }).optional(),
  /** Parameter sets of an HSS/LMS key, top level first, by their names in the IANA registry. */
  levels: z.array(z.strictObject({ lms: z.string(), ots: z.string() })).optional(),
});

/** What git carries of a key. */
export type KeyDescription = z.infer<typeof keyDescriptionSchema>;

/** What a description is made of before the key is known. */
export type KeyNaming = Pick<KeyDescription, 'name' | 'purpose' | 'trial'> & { readonly created: Date };

/**
 * Reads a description. Throws `KeyError` key-description-invalid, with the field, where it has another shape
 * or its fingerprint is not that of its key.
 */
export function readKeyDescription(value: unknown): KeyDescription {
  const read = keyDescriptionSchema.safeParse(value);
  if (!read.success) {
    const [issue] = read.error.issues;
    throw invalid(`${issue?.path.join('.') || 'the whole'}: ${issue?.message}`);
  }
  const description = read.data;
  const identity = description.spki ? fingerprint(fromHex(description.spki)) : description.check_value;
  if (!identity) throw invalid('neither spki nor check_value is there');
  if (identity !== description.fingerprint) throw invalid('fingerprint does not belong to its key');
  if ((description.custody === 'token') !== (description.token !== undefined)) {
    throw invalid('token.uri belongs to custody "token", and only there');
  }
  const needsLevels = description.algorithm === 'HSS-LMS' && description.custody !== 'offline';
  if (needsLevels ? !hssShape(description.levels ?? []) : description.levels !== undefined) {
    throw invalid(
      'levels are the parameter sets of an HSS-LMS key in a file or token, and stand nowhere else',
    );
  }
  return description;
}

/** Description of a signing key. */
export function describeSigningKey(
  naming: KeyNaming,
  place: Pick<KeyDescription, 'custody' | 'token' | 'levels'>,
  key: { readonly algorithm: { readonly name: string }; readonly publicKey: Uint8Array },
): KeyDescription {
  return readKeyDescription({
    ...common(naming),
    ...place,
    algorithm: key.algorithm.name,
    spki: toHex(key.publicKey),
    fingerprint: fingerprint(key.publicKey),
  });
}

/** Description of a secret key. */
export function describeSecretKey(
  naming: KeyNaming,
  place: Pick<KeyDescription, 'custody' | 'token'>,
  algorithm: 'HMAC 256/256' | 'A128KW' | 'A256KW',
  check: Uint8Array,
): KeyDescription {
  const value = toHex(check);
  return readKeyDescription({
    ...common(naming),
    ...place,
    algorithm,
    check_value: value,
    fingerprint: value,
  });
}

function common(naming: KeyNaming) {
  const { name, purpose, trial, created } = naming;
  return { format: 'fieldseal.key/1', name, purpose, trial, created: created.toISOString() };
}

function invalid(detail: string): KeyError {
  return new KeyError(
    'key-description-invalid',
    `The key description is not as it should be: ${detail}.`,
    'It was edited or is of another version: restore keys/NAME.json from git.',
  );
}
