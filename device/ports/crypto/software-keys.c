#include "software-keys.h"

#include <stddef.h>

const fs_bytes *fs_software_key_in(const fs_software_crypto *crypto, fs_key_slot slot, uint32_t minimum) {
  for (uint32_t i = 0; i < crypto->count; i++) {
    const fs_software_key *held = &crypto->keys[i];
    if (held->slot == slot) return held->key.length >= minimum ? &held->key : NULL;
  }
  return NULL;
}
