/* Counter blocks of AES-CTR as RFC 9459 section 4 has them: all 16 bytes count, big-endian. */
#ifndef FIELDSEAL_CTR_BLOCK_H
#define FIELDSEAL_CTR_BLOCK_H

#include <stdint.h>

#define FS_AES_BLOCK 16u

/* XORs key stream from a counter block on into `bytes`; `length` is any, the stream begins with the block. */
typedef void (*fs_ctr_run)(const void *key, const uint8_t counter[16], uint8_t *bytes, uint32_t length);

/* XORs the key stream of a message from byte `offset` on into `bytes`. `iv`: counter block of the first byte. */
void fs_ctr_from(fs_ctr_run run, const void *key, const uint8_t iv[16], uint32_t offset, uint8_t *bytes, uint32_t length);

/* `counter` is `iv` and `blocks` more. */
void fs_ctr_block(const uint8_t iv[16], uint32_t blocks, uint8_t counter[16]);

#endif
