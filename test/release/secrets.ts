import { createSecretSource, type SecretSource } from '../../src/keys/index.ts';

/** A passphrase for the keys of these tests; it protects nothing else. */
export const PASSPHRASE = 'greenhouse test passphrase';

export const secrets: SecretSource = createSecretSource({
  production: false,
  environment: { FIELDSEAL_PASSPHRASE: PASSPHRASE },
});
