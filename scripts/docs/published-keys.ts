// The published example keys as the device kit refuses them: the first bytes of each fingerprint.
import { PUBLISHED_EXAMPLE_KEYS } from '../../src/x509/index.ts';

/** Enough to tell a key: nobody can make another one that begins alike, and nobody would gain by it. */
const BYTES = 8;

/** The header of the keys that everybody can sign with. */
export function publishedKeysHeader(): string {
  const rows = PUBLISHED_EXAMPLE_KEYS.map(({ fingerprint, source }) => {
    const bytes = fingerprint.slice(0, 2 * BYTES).match(/../g)!;
    return `    /* ${source} */\n    {${bytes.map((byte) => `0x${byte}`).join(', ')}},`;
  });
  return `/*
 * Keys whose private halves are printed in standards, by the first bytes of the SHA-256 of SubjectPublicKeyInfo. Written
 * from the table in src/x509 by \`npm run docs\`; never by hand.
 */
#ifndef FIELDSEAL_PUBLISHED_KEYS_H
#define FIELDSEAL_PUBLISHED_KEYS_H

#include <stdint.h>

#define FS_PUBLISHED_KEYS ${PUBLISHED_EXAMPLE_KEYS.length}u
static const uint8_t fs_published_keys[FS_PUBLISHED_KEYS][${BYTES}] = {
${rows.join('\n')}
};

#endif
`;
}
