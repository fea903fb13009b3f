#include "crypto-cases.h"

#include <string.h>

#include "../ports/crypto/software-keys.h"
#include "tell.h"

enum { CASE_SHA256 = 32, CASE_P256 = 33, CASE_ED25519 = 34, CASE_HMAC = 35, CASE_CTR = 36, CASE_HSS = 37 };

#define ROW_SIZE 8192u
#define TEXT_SIZE 4096u

static uint8_t row[ROW_SIZE];
static uint8_t text[TEXT_SIZE];

/* What a signature came to: good only by both evidences. */
static void tell_verdict(fs_status status, uint32_t again) {
  if ((status == FS_OK) != (again == FS_CONFIRMED)) tell_word("evidence-differs");
  else tell_word(status == FS_OK ? "good" : "bad");
  tell_line();
}

static void case_sha256(const fs_crypto *crypto, record *from) {
  const fs_bytes message = take_bytes(from);
  const uint32_t half = message.length / 2u;
  uint8_t digest[32];
  fs_sha256 state;

  (void)crypto->sha256_start(crypto->context, &state);
  (void)crypto->sha256_update(crypto->context, &state, message.bytes, half);
  (void)crypto->sha256_update(crypto->context, &state, message.bytes + half, message.length - half);
  (void)crypto->sha256_finish(crypto->context, &state, digest);
  tell_hex(digest, sizeof digest);
  tell_line();
}

static void case_p256(const fs_crypto *crypto, record *from) {
  const uint8_t *point = take_raw(from, 64);
  const uint8_t *digest = take_raw(from, 32);
  const uint8_t *signature = take_raw(from, 64);
  uint32_t again = 0;
  const fs_status status = crypto->verify_p256(crypto->context, point, digest, signature, &again);

  tell_verdict(status, again);
}

static void case_ed25519(const fs_crypto *crypto, record *from) {
  const uint8_t *key = take_raw(from, 32);
  const uint8_t *signature = take_raw(from, 64);
  const fs_bytes message = take_bytes(from);
  const uint32_t half = message.length / 2u;
  const fs_bytes parts[2] = {{message.bytes, half}, {message.bytes + half, message.length - half}};
  uint32_t again = 0;
  const fs_status status = crypto->verify_ed25519(crypto->context, key, parts, 2, signature, &again);

  tell_verdict(status, again);
}

static void case_hss(const fs_crypto *crypto, record *from) {
  const fs_bytes key = take_bytes(from);
  const fs_bytes signature = take_bytes(from);
  const fs_bytes message = take_bytes(from);
  const uint32_t half = message.length / 2u;
  const fs_bytes parts[2] = {{message.bytes, half}, {message.bytes + half, message.length - half}};
  uint32_t again = 0;
  const fs_status status = crypto->verify_hss(crypto, key, parts, 2, signature, &again);

  tell_verdict(status, again);
}

static void case_hmac(const fs_crypto *crypto, record *from) {
  const fs_bytes message = take_bytes(from);
  const uint32_t half = message.length / 2u;
  const fs_bytes parts[2] = {{message.bytes, half}, {message.bytes + half, message.length - half}};
  uint8_t tag[32];

  if (crypto->hmac_sha256(crypto->context, 0, parts, 2, tag) == FS_OK) tell_hex(tag, sizeof tag);
  else tell_word("no-key");
  tell_line();
}

static void case_ctr(const fs_crypto *crypto, record *from) {
  const uint8_t *wrapped = take_raw(from, 24);
  const uint8_t *iv = take_raw(from, 16);
  const uint32_t offset = take_u32(from);
  const fs_bytes message = take_bytes(from);
  fs_ctr state;

  if (message.length > TEXT_SIZE || crypto->unwrap_for_ctr(crypto->context, 0, wrapped, iv, &state) != FS_OK) {
    tell_word("not-unwrapped");
    tell_line();
    return;
  }
  if (message.length != 0u) memcpy(text, message.bytes, message.length);
  (void)crypto->ctr_at(crypto->context, &state, offset, text, message.length);
  crypto->ctr_forget(crypto->context, &state);
  tell_hex(text, message.length);
  tell_line();
}

int run_crypto_case(uint8_t kind, record *from) {
  fs_software_key key;
  fs_software_crypto keys = {&key, 1, row, ROW_SIZE};
  const fs_crypto crypto = crypto_under_test(&keys);

  key.slot = 0;
  key.key.length = 0;
  if (kind == CASE_HMAC || kind == CASE_CTR) key.key = take_bytes(from);
  switch (kind) {
    case CASE_SHA256: case_sha256(&crypto, from); return 1;
    case CASE_P256: case_p256(&crypto, from); return 1;
    case CASE_ED25519: case_ed25519(&crypto, from); return 1;
    case CASE_HMAC: case_hmac(&crypto, from); return 1;
    case CASE_HSS: case_hss(&crypto, from); return 1;
    case CASE_CTR: case_ctr(&crypto, from); return 1;
    default: return 0;
  }
}
