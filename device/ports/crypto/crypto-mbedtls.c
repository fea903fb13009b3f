#include "crypto-mbedtls.h"

#include <mbedtls/aes.h>
#include <mbedtls/ecdsa.h>
#include <mbedtls/md.h>
#include <mbedtls/sha256.h>
#include <string.h>

#include "aes-kw.h"
#include "ctr-block.h"
#include "ed25519-sodium.h"
#include "hss-lms.h"
#include "verdict.h"
#include "wipe.h"

/* The expanded key does not fit: it is expanded anew for each call. */
typedef struct {
  uint8_t key[16];
  uint8_t iv[FS_AES_BLOCK];
} ctr_state;

typedef char sha256_state_fits[sizeof(mbedtls_sha256_context) <= FS_SHA256_STATE_SIZE ? 1 : -1];

static fs_status status(int wrong) { return wrong == 0 ? FS_OK : FS_PORT_FAILED; }

static fs_status sha256_start(void *context, fs_sha256 *state) {
  mbedtls_sha256_context *running = (mbedtls_sha256_context *)(void *)state;

  (void)context;
  mbedtls_sha256_init(running);
  return status(mbedtls_sha256_starts_ret(running, 0));
}

static fs_status sha256_update(void *context, fs_sha256 *state, const uint8_t *bytes, uint32_t length) {
  (void)context;
  if (length == 0u) return FS_OK;
  return status(mbedtls_sha256_update_ret((mbedtls_sha256_context *)(void *)state, bytes, length));
}

static fs_status sha256_finish(void *context, fs_sha256 *state, uint8_t digest[32]) {
  mbedtls_sha256_context *running = (mbedtls_sha256_context *)(void *)state;
  const int wrong = mbedtls_sha256_finish_ret(running, digest);

  (void)context;
  mbedtls_sha256_free(running);
  return status(wrong);
}

/* 0 where the signature is good. */
static int judge_p256(const uint8_t point[64], const uint8_t digest[32], const uint8_t signature[64]) {
  mbedtls_ecp_group group;
  mbedtls_ecp_point key;
  mbedtls_mpi r, s;
  uint8_t uncompressed[65];
  int wrong;

  uncompressed[0] = 0x04;
  memcpy(uncompressed + 1, point, 64);
  mbedtls_ecp_group_init(&group);
  mbedtls_ecp_point_init(&key);
  mbedtls_mpi_init(&r);
  mbedtls_mpi_init(&s);
  wrong = mbedtls_ecp_group_load(&group, MBEDTLS_ECP_DP_SECP256R1);
  if (wrong == 0) wrong = mbedtls_ecp_point_read_binary(&group, &key, uncompressed, sizeof uncompressed);
  if (wrong == 0) wrong = mbedtls_ecp_check_pubkey(&group, &key);
  if (wrong == 0) wrong = mbedtls_mpi_read_binary(&r, signature, 32);
  if (wrong == 0) wrong = mbedtls_mpi_read_binary(&s, signature + 32, 32);
  if (wrong == 0) wrong = mbedtls_ecdsa_verify(&group, digest, 32, &key, &r, &s);
  mbedtls_mpi_free(&s);
  mbedtls_mpi_free(&r);
  mbedtls_ecp_point_free(&key);
  mbedtls_ecp_group_free(&group);
  return wrong;
}

static fs_status verify_p256(void *context, const uint8_t point[64], const uint8_t digest[32], const uint8_t signature[64],
                             uint32_t *again) {
  volatile int said = -1;

  (void)context;
  said = judge_p256(point, digest, signature);
  return fs_verdict(&said, 0, again);
}

static fs_status hmac_sha256(void *context, fs_key_slot slot, const fs_bytes *parts, uint32_t count, uint8_t tag[32]) {
  const fs_bytes *key = fs_software_key_in((const fs_software_crypto *)context, slot, 32);
  mbedtls_md_context_t running;
  int wrong;

  if (key == NULL) return FS_PORT_FAILED;
  mbedtls_md_init(&running);
  wrong = mbedtls_md_setup(&running, mbedtls_md_info_from_type(MBEDTLS_MD_SHA256), 1);
  if (wrong == 0) wrong = mbedtls_md_hmac_starts(&running, key->bytes, key->length);
  for (uint32_t i = 0; i < count && wrong == 0; i++) {
    if (parts[i].length != 0u) wrong = mbedtls_md_hmac_update(&running, parts[i].bytes, parts[i].length);
  }
  if (wrong == 0) wrong = mbedtls_md_hmac_finish(&running, tag);
  mbedtls_md_free(&running);
  return status(wrong);
}

static fs_status unwrap_for_ctr(void *context, fs_key_slot slot, const uint8_t wrapped[24], const uint8_t iv[16], fs_ctr *state) {
  const fs_bytes *key = fs_software_key_in((const fs_software_crypto *)context, slot, 16);
  ctr_state *running = (ctr_state *)(void *)state;

  if (key == NULL || key->length != 16u) return FS_PORT_FAILED;
  if (fs_aes_unwrap(key->bytes, wrapped, running->key) != FS_OK) return FS_PORT_FAILED;
  memcpy(running->iv, iv, sizeof running->iv);
  return FS_OK;
}

static void run_ctr(const void *key, const uint8_t counter[16], uint8_t *bytes, uint32_t length) {
  mbedtls_aes_context expanded;
  uint8_t block[FS_AES_BLOCK], stream[FS_AES_BLOCK];
  size_t used = 0;

  memcpy(block, counter, sizeof block);
  mbedtls_aes_init(&expanded);
  (void)mbedtls_aes_setkey_enc(&expanded, (const uint8_t *)key, 128);
  (void)mbedtls_aes_crypt_ctr(&expanded, length, &used, block, stream, bytes, bytes);
  mbedtls_aes_free(&expanded);
  fs_wipe(stream, sizeof stream);
}

static fs_status ctr_at(void *context, fs_ctr *state, uint32_t offset, uint8_t *bytes, uint32_t length) {
  const ctr_state *running = (const ctr_state *)(const void *)state;

  (void)context;
  fs_ctr_from(run_ctr, running->key, running->iv, offset, bytes, length);
  return FS_OK;
}

static void ctr_forget(void *context, fs_ctr *state) {
  (void)context;
  fs_wipe(state, sizeof *state);
}

fs_crypto fs_crypto_mbedtls(fs_software_crypto *context) {
  const fs_crypto port = {context,     sha256_start,   sha256_update, sha256_finish, verify_p256, fs_ed25519_verify, fs_hss_verify,
                          hmac_sha256, unwrap_for_ctr, ctr_at,        ctr_forget};
  return port;
}
