#include <mbedtls/nist_kw.h>

#include "aes-kw.h"
#include "wipe.h"

fs_status fs_aes_unwrap(const uint8_t kek[16], const uint8_t wrapped[24], uint8_t key[16]) {
  mbedtls_nist_kw_context unwrap;
  size_t length = 0;
  int wrong;

  mbedtls_nist_kw_init(&unwrap);
  wrong = mbedtls_nist_kw_setkey(&unwrap, MBEDTLS_CIPHER_ID_AES, kek, 128, 0);
  if (wrong == 0) wrong = mbedtls_nist_kw_unwrap(&unwrap, MBEDTLS_KW_MODE_KW, wrapped, 24, key, &length, 16);
  mbedtls_nist_kw_free(&unwrap);
  if (wrong == 0 && length == 16) return FS_OK;
  fs_wipe(key, 16);
  return FS_PORT_FAILED;
}
