#include "record.h"

static const uint8_t *take(record *from, uint32_t length) {
  const uint8_t *at = from->at;

  if (length > (uint32_t)(from->end - from->at)) {
    from->short_of = 1;
    return 0;
  }
  from->at += length;
  return at;
}

uint8_t take_u8(record *from) {
  const uint8_t *at = take(from, 1);
  return at ? *at : 0u;
}

uint32_t take_u32(record *from) {
  const uint8_t *at = take(from, 4);
  return at ? (uint32_t)at[0] << 24 | (uint32_t)at[1] << 16 | (uint32_t)at[2] << 8 | at[3] : 0u;
}

uint64_t take_u64(record *from) {
  const uint64_t high = take_u32(from);
  return high << 32 | take_u32(from);
}

const uint8_t *take_raw(record *from, uint32_t length) {
  static const uint8_t zeros[64];
  const uint8_t *at = take(from, length);
  return at ? at : zeros;
}

fs_bytes take_bytes(record *from) {
  fs_bytes taken = {0, 0};
  const uint32_t length = take_u32(from);

  taken.bytes = take(from, length);
  if (taken.bytes) taken.length = length;
  return taken;
}
