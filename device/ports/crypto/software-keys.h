/*
 * Secret keys that lie in memory, for parts without a place of their own for them. Whoever reads the flash of such a part has
 * them. A part with a key slot in hardware uses that instead: then nothing here is linked.
 */
#ifndef FIELDSEAL_SOFTWARE_KEYS_H
#define FIELDSEAL_SOFTWARE_KEYS_H

#include "fieldseal/crypto-port.h"

typedef struct {
  fs_key_slot slot;
  fs_bytes key;
} fs_software_key;

/* Context of the crypto ports beside this file. */
typedef struct {
  const fs_software_key *keys;
  uint32_t count;
  /*
   * Where the parts of a message are put in a row for Ed25519, whose library takes it in one piece: at least as long as the
   * longest protected header that is to be taken, and 128 bytes. Not needed where no class uses Ed25519.
   */
  uint8_t *row;
  uint32_t row_size;
} fs_software_crypto;

/* The key in a slot that has at least `minimum` bytes; null where there is none. */
const fs_bytes *fs_software_key_in(const fs_software_crypto *crypto, fs_key_slot slot, uint32_t minimum);

#endif
