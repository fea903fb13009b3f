/* AES key unwrap (RFC 3394) by the library, apart from the ports: the same for both. */
#ifndef FIELDSEAL_AES_KW_H
#define FIELDSEAL_AES_KW_H

#include "fieldseal/crypto-port.h"

/* Unwraps a 16-byte key that is wrapped in 24 bytes, under a key of 16 bytes. FS_PORT_FAILED where the check fails. */
fs_status fs_aes_unwrap(const uint8_t kek[16], const uint8_t wrapped[24], uint8_t key[16]);

#endif
