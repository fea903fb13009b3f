#include "ed25519-sodium.h"

#include <sodium/crypto_sign_ed25519.h>
#include <string.h>

#include "software-keys.h"
#include "verdict.h"

/* The message in one piece: as it lies where it is one, else put in a row. Null where the row is too short. */
static const uint8_t *in_a_row(const fs_software_crypto *crypto, const fs_bytes *parts, uint32_t count, uint32_t *length) {
  uint32_t at = 0;

  if (count == 1u) {
    *length = parts[0].length;
    return parts[0].bytes;
  }
  for (uint32_t i = 0; i < count; i++) {
    if (parts[i].length > crypto->row_size - at) return NULL;
    if (parts[i].length != 0u) memcpy(crypto->row + at, parts[i].bytes, parts[i].length);
    at += parts[i].length;
  }
  *length = at;
  return crypto->row;
}

fs_status fs_ed25519_verify(void *context, const uint8_t key[32], const fs_bytes *parts, uint32_t count,
                            const uint8_t signature[64], uint32_t *again) {
  uint32_t length = 0;
  const uint8_t *message = in_a_row((const fs_software_crypto *)context, parts, count, &length);
  volatile int said = -1;

  if (message == NULL) return FS_PORT_FAILED;
  said = crypto_sign_ed25519_verify_detached(signature, message, length, key);
  return fs_verdict(&said, 0, again);
}
