/* What is built of Mbed TLS for a microcontroller: AES key unwrap, out of a fixed pool in place of a heap. */
#ifndef FIELDSEAL_MBEDTLS_CONFIG_H
#define FIELDSEAL_MBEDTLS_CONFIG_H

#define MBEDTLS_AES_C
#define MBEDTLS_AES_ROM_TABLES
#define MBEDTLS_AES_FEWER_TABLES
#define MBEDTLS_CIPHER_C
#define MBEDTLS_NIST_KW_C
#define MBEDTLS_PLATFORM_C
#define MBEDTLS_PLATFORM_MEMORY
#define MBEDTLS_PLATFORM_CALLOC_MACRO fs_pool_calloc
#define MBEDTLS_PLATFORM_FREE_MACRO fs_pool_free

#include <stddef.h>

void *fs_pool_calloc(size_t count, size_t size);
void fs_pool_free(void *block);

#include "mbedtls/check_config.h"

#endif
