#ifndef FIELDSEAL_WIPE_H
#define FIELDSEAL_WIPE_H

#include <stddef.h>
#include <stdint.h>

/* Overwrites what held a secret; not removed by a compiler that sees nobody read it. */
static inline void fs_wipe(void *secret, size_t size) {
  volatile uint8_t *byte = (volatile uint8_t *)secret;

  while (size-- > 0u) *byte++ = 0;
}

#endif
