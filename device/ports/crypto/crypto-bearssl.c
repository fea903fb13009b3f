#include "crypto-bearssl.h"

#include <bearssl_block.h>
#include <bearssl_ec.h>
#include <bearssl_hash.h>
#include <bearssl_hmac.h>
#include <string.h>

#include "aes-kw.h"
#include "ctr-block.h"
#include "ed25519-sodium.h"
#include "hss-lms.h"
#include "verdict.h"
#include "wipe.h"

typedef struct {
  br_aes_ct_ctr_keys keys;
  uint8_t iv[FS_AES_BLOCK];
} ctr_state;

typedef char sha256_state_fits[sizeof(br_sha256_context) <= FS_SHA256_STATE_SIZE ? 1 : -1];
typedef char ctr_state_fits[sizeof(ctr_state) <= FS_CTR_STATE_SIZE ? 1 : -1];

static fs_status sha256_start(void *context, fs_sha256 *state) {
  (void)context;
  br_sha256_init((br_sha256_context *)(void *)state);
  return FS_OK;
}

static fs_status sha256_update(void *context, fs_sha256 *state, const uint8_t *bytes, uint32_t length) {
  (void)context;
  br_sha256_update((br_sha256_context *)(void *)state, bytes, length);
  return FS_OK;
}

static fs_status sha256_finish(void *context, fs_sha256 *state, uint8_t digest[32]) {
  (void)context;
  br_sha256_out((br_sha256_context *)(void *)state, digest);
  return FS_OK;
}

static fs_status verify_p256(void *context, const uint8_t point[64], const uint8_t digest[32], const uint8_t signature[64],
                             uint32_t *again) {
  uint8_t uncompressed[65];
  br_ec_public_key key;
  volatile int said = 0;

  (void)context;
  uncompressed[0] = 0x04;
  memcpy(uncompressed + 1, point, 64);
  key.curve = BR_EC_secp256r1;
  key.q = uncompressed;
  key.qlen = sizeof uncompressed;
  said = (int)br_ecdsa_i31_vrfy_raw(&br_ec_p256_m31, digest, 32, &key, signature, 64);
  return fs_verdict(&said, 1, again);
}

static fs_status hmac_sha256(void *context, fs_key_slot slot, const fs_bytes *parts, uint32_t count, uint8_t tag[32]) {
  const fs_bytes *key = fs_software_key_in((const fs_software_crypto *)context, slot, 32);
  br_hmac_key_context keyed;
  br_hmac_context running;

  if (key == NULL) return FS_PORT_FAILED;
  br_hmac_key_init(&keyed, &br_sha256_vtable, key->bytes, key->length);
  br_hmac_init(&running, &keyed, 0);
  for (uint32_t i = 0; i < count; i++) br_hmac_update(&running, parts[i].bytes, parts[i].length);
  (void)br_hmac_out(&running, tag);
  fs_wipe(&keyed, sizeof keyed);
  fs_wipe(&running, sizeof running);
  return FS_OK;
}

/* BearSSL counts in the last four bytes only, so a run ends where they would overflow. */
static void run_ctr(const void *key, const uint8_t counter[16], uint8_t *bytes, uint32_t length) {
  uint8_t block[FS_AES_BLOCK];

  memcpy(block, counter, sizeof block);
  while (length != 0u) {
    const uint32_t low = (uint32_t)block[12] << 24 | (uint32_t)block[13] << 16 | (uint32_t)block[14] << 8 | block[15];
    const uint64_t left = (UINT64_C(0x100000000) - low) * FS_AES_BLOCK;
    const uint32_t part = length < left ? length : (uint32_t)left;
    (void)br_aes_ct_ctr_run((const br_aes_ct_ctr_keys *)key, block, low, bytes, part);
    bytes += part;
    length -= part;
    if (length != 0u) fs_ctr_block(counter, part / FS_AES_BLOCK, block);
  }
}

static fs_status unwrap_for_ctr(void *context, fs_key_slot slot, const uint8_t wrapped[24], const uint8_t iv[16], fs_ctr *state) {
  const fs_bytes *key = fs_software_key_in((const fs_software_crypto *)context, slot, 16);
  ctr_state *running = (ctr_state *)(void *)state;
  uint8_t content_key[16];

  if (key == NULL || key->length != 16u) return FS_PORT_FAILED;
  if (fs_aes_unwrap(key->bytes, wrapped, content_key) != FS_OK) return FS_PORT_FAILED;
  br_aes_ct_ctr_init(&running->keys, content_key, sizeof content_key);
  memcpy(running->iv, iv, sizeof running->iv);
  fs_wipe(content_key, sizeof content_key);
  return FS_OK;
}

static fs_status ctr_at(void *context, fs_ctr *state, uint32_t offset, uint8_t *bytes, uint32_t length) {
  const ctr_state *running = (const ctr_state *)(const void *)state;

  (void)context;
  fs_ctr_from(run_ctr, &running->keys, running->iv, offset, bytes, length);
  return FS_OK;
}

static void ctr_forget(void *context, fs_ctr *state) {
  (void)context;
  fs_wipe(state, sizeof *state);
}

fs_crypto fs_crypto_bearssl(fs_software_crypto *context) {
  const fs_crypto port = {context,     sha256_start,   sha256_update, sha256_finish, verify_p256, fs_ed25519_verify, fs_hss_verify,
                          hmac_sha256, unwrap_for_ctr, ctr_at,        ctr_forget};
  return port;
}

fs_crypto fs_crypto_bearssl_p256(fs_software_crypto *context) {
  const fs_crypto port = {context, sha256_start, sha256_update, sha256_finish, verify_p256, NULL, NULL, hmac_sha256, NULL, NULL, NULL};
  return port;
}
