#include "ctr-block.h"

#include <string.h>

void fs_ctr_block(const uint8_t iv[16], uint32_t blocks, uint8_t counter[16]) {
  uint64_t carry = blocks;

  for (uint32_t i = FS_AES_BLOCK; i-- > 0;) {
    carry += iv[i];
    counter[i] = (uint8_t)(carry & 0xffu);
    carry >>= 8;
  }
}

void fs_ctr_from(fs_ctr_run run, const void *key, const uint8_t iv[16], uint32_t offset, uint8_t *bytes, uint32_t length) {
  uint8_t counter[FS_AES_BLOCK];
  const uint32_t skipped = offset % FS_AES_BLOCK;
  uint32_t block = offset / FS_AES_BLOCK;

  if (skipped != 0u && length != 0u) {
    uint8_t first[FS_AES_BLOCK] = {0};
    const uint32_t room = FS_AES_BLOCK - skipped;
    const uint32_t part = length < room ? length : room;
    memcpy(first + skipped, bytes, part);
    fs_ctr_block(iv, block, counter);
    run(key, counter, first, FS_AES_BLOCK);
    memcpy(bytes, first + skipped, part);
    bytes += part;
    length -= part;
    block++;
  }
  if (length == 0u) return;
  fs_ctr_block(iv, block, counter);
  run(key, counter, bytes, length);
}
