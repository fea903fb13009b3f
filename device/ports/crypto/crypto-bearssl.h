/*
 * Crypto port for microcontrollers: BearSSL for SHA-256, HMAC, P-256 and AES, all in constant time and without a heap;
 * libsodium for Ed25519; Mbed TLS for AES key unwrap. Context: an fs_software_crypto.
 */
#ifndef FIELDSEAL_CRYPTO_BEARSSL_H
#define FIELDSEAL_CRYPTO_BEARSSL_H

#include "software-keys.h"

fs_crypto fs_crypto_bearssl(fs_software_crypto *context);

/* Without Ed25519, HSS/LMS and decryption, which a class of ESP256 or HMAC 256 does not call: some 30 KiB less is linked. */
fs_crypto fs_crypto_bearssl_p256(fs_software_crypto *context);

#endif
