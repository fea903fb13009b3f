/* What all steps share: the first refusal stays, comparisons without a branch, signatures. */
#include "internal.h"

void fs_fail(fs_judge *judge, fs_status code) {
  if (judge->status == 0) judge->status = code;
}

void fs_bad(fs_judge *judge) { fs_fail(judge, judge->malformed); }

fs_status fs_same(const uint8_t *a, const uint8_t *b, uint32_t length) {
  uint32_t difference = 0;
  uint32_t i;
  for (i = 0; i < length; i++) difference |= (uint32_t)(a[i] ^ b[i]);
  return FS_OK ^ difference;
}

uint32_t fs_holds(const fs_judge *judge, uint32_t off, const uint8_t *bytes, uint32_t length) {
  uint32_t i;
  for (i = 0; i < length; i++)
    if (fs_byte(judge, off + i) != bytes[i]) return 0;
  return 1;
}

uint32_t fs_span_is(const fs_judge *judge, fs_cur span, const uint8_t *bytes, uint32_t length) {
  return span.end - span.off == length && fs_holds(judge, span.off, bytes, length);
}

int fs_order(const fs_judge *judge, uint32_t one, uint32_t other, uint32_t length) {
  uint32_t i;
  for (i = 0; i < length; i++) {
    int difference = (int)fs_byte(judge, one + i) - (int)fs_byte(judge, other + i);
    if (difference != 0) return difference;
  }
  return 0;
}

uint32_t fs_spans_same(const fs_judge *judge, fs_cur a, fs_cur b) {
  return a.end - a.off == b.end - b.off && fs_order(judge, a.off, b.off, a.end - a.off) == 0;
}

fs_status fs_hash(const fs_crypto *crypto, const fs_bytes *parts, uint32_t count, uint8_t digest[32]) {
  fs_sha256 state;
  fs_status status = crypto->sha256_start(crypto->context, &state);
  uint32_t i;
  memset(digest, 0, 32);
  for (i = 0; i < count && status == FS_OK; i++)
    status = crypto->sha256_update(crypto->context, &state, parts[i].bytes, parts[i].length);
  if (status == FS_OK) status = crypto->sha256_finish(crypto->context, &state, digest);
  return status;
}

uint64_t fs_get(const uint8_t *bytes, uint32_t width) {
  uint64_t value = 0;
  uint32_t i;
  for (i = 0; i < width; i++) value = value << 8 | bytes[i];
  return value;
}

uint64_t fs_number_at(const fs_judge *judge, uint32_t off, uint32_t width) {
  uint64_t value = 0;
  uint32_t i;
  for (i = 0; i < width; i++) value = value << 8 | fs_byte(judge, off + i);
  return value;
}

void fs_put32(uint8_t *bytes, uint32_t width, uint32_t value) {
  while (width-- > 0) {
    bytes[width] = (uint8_t)value;
    value >>= 8;
  }
}

void fs_put(uint8_t *bytes, uint32_t width, uint64_t value) {
  while (width-- > 0) {
    bytes[width] = (uint8_t)value;
    value >>= 8;
  }
}

fs_status fs_verify(fs_judge *judge, uint32_t type, fs_bytes key, const fs_bytes *parts, uint32_t count,
                    fs_bytes signature, uint32_t *again) {
  const fs_crypto *crypto = judge->crypto;
  uint8_t digest[32];
  *again = 0;
  if (type == FS_KEY_HSS) {
    if (crypto->verify_hss == 0) return FS_PORT_FAILED;
    key.bytes += FS_HSS_AT;
    key.length -= FS_HSS_AT;
    return crypto->verify_hss(crypto, key, parts, count, signature, again);
  }
  if (signature.length != 64) return FS_PORT_FAILED;
  if (type == FS_KEY_ED25519) {
    if (crypto->verify_ed25519 == 0) return FS_PORT_FAILED;
    return crypto->verify_ed25519(crypto->context, key.bytes + 12, parts, count, signature.bytes, again);
  }
  if (fs_hash(crypto, parts, count, digest) != FS_OK) return FS_PORT_FAILED;
  return crypto->verify_p256(crypto->context, key.bytes + 27, digest, signature.bytes, again);
}

uint32_t fs_is_message(const uint8_t *bytes, uint32_t length) {
  if (length == 0) return 0;
  if (bytes[0] >= 0xd0 && bytes[0] <= 0xd2) return 1;
  return bytes[0] == 0xd8 && length > 1 && bytes[1] >= 96 && bytes[1] <= 98;
}
