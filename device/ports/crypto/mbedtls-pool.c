/* The one block of memory that Mbed TLS asks for at a time, in place of a heap: the AES key under which a key is unwrapped. */
#include <stdint.h>
#include <string.h>

#include "mbedtls-config.h"

#define POOL_SIZE 320u

static uint64_t pool[POOL_SIZE / sizeof(uint64_t)];
static int taken;

void *fs_pool_calloc(size_t count, size_t size) {
  if (taken || size == 0 || count > POOL_SIZE / size) return NULL;
  taken = 1;
  memset(pool, 0, sizeof pool);
  return pool;
}

void fs_pool_free(void *block) {
  if (block != NULL) taken = 0;
}
