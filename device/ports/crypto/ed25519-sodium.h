#ifndef FIELDSEAL_ED25519_SODIUM_H
#define FIELDSEAL_ED25519_SODIUM_H

#include "fieldseal/crypto-port.h"

/* `verify_ed25519` of the crypto port by libsodium; the context is an fs_software_crypto. */
fs_status fs_ed25519_verify(void *context, const uint8_t key[32], const fs_bytes *parts, uint32_t count,
                            const uint8_t signature[64], uint32_t *again);

#endif
