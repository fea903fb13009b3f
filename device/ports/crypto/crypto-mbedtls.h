/* Crypto port over Mbed TLS 2.28 (Apache-2.0), which needs a heap; libsodium for Ed25519. Context: an fs_software_crypto. */
#ifndef FIELDSEAL_CRYPTO_MBEDTLS_H
#define FIELDSEAL_CRYPTO_MBEDTLS_H

#include "software-keys.h"

fs_crypto fs_crypto_mbedtls(fs_software_crypto *context);

#endif
