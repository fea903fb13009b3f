/* COSE_Sign1 and COSE_Mac0 as authentication blocks (RFC 9052 sections 3, 4.2 and 6.2; RFC 9360 section 2). */
#include "internal.h"

#define BLOCK_ITEMS 4096u

/* Which major types a value may have, as bits. An array must hold at least `least` items of the types `inside`. */
typedef struct {
  uint8_t label;
  uint8_t types;
  uint8_t least;
  uint8_t inside;
} shape;

#define INTEGER 0x03u
#define BYTES 0x04u
#define TEXT 0x08u
#define LABELS (INTEGER | TEXT)
#define X5T 34
#define X5U 35
#define IV 5
#define PARTIAL_IV 6

static const shape SHAPES[] = {{1, LABELS, 0, 0},          {2, 0, 1, LABELS}, {3, TEXT | 1, 0, 0}, {4, BYTES | TEXT, 0, 0},
                               {IV, BYTES, 0, 0},          {PARTIAL_IV, BYTES, 0, 0},
                               {32, BYTES, 2, BYTES},      {33, BYTES, 2, BYTES}};

static uint32_t type_of(fs_judge *judge, fs_cur *at, uint32_t types) {
  fs_cur head = *at;
  uint32_t major = fs_head(judge, &head);
  fs_skip(judge, at);
  return types >> major & 1u;
}

static void check_shape(fs_judge *judge, const shape *row, fs_cur value) {
  fs_cur at = value;
  uint32_t count;
  uint32_t i;
  if (type_of(judge, &at, row->types)) return;
  at = value;
  if (row->least == 0) fs_bad(judge);
  count = fs_take(judge, &at, 4);
  if (count < row->least) fs_bad(judge);
  for (i = 0; i < count && FS_GOOD(judge); i++)
    if (!type_of(judge, &at, row->inside)) fs_bad(judge);
}

/* COSE_CertHash: algorithm and value. A URI of a certificate: tag 32 around a text. */
static void check_special(fs_judge *judge, uint32_t label, fs_cur value) {
  if (label == X5T) {
    fs_expect(judge, &value, 4, 2);
    if (!type_of(judge, &value, LABELS) || !type_of(judge, &value, BYTES)) fs_bad(judge);
  }
  if (label == X5U) {
    fs_expect(judge, &value, 6, 32);
    if (!type_of(judge, &value, TEXT)) fs_bad(judge);
  }
}

static void check_bucket(fs_judge *judge, fs_cur map) {
  uint32_t count = fs_take(judge, &map, 5);
  uint32_t i;
  uint32_t row;
  for (i = 0; i < count && FS_GOOD(judge); i++) {
    uint32_t label;
    uint32_t major;
    fs_cur key = map;
    if (!type_of(judge, &map, LABELS)) fs_bad(judge);
    major = fs_head(judge, &key);
    label = judge->argument;
    for (row = 0; major == 0 && row < sizeof SHAPES / sizeof *SHAPES; row++)
      if (SHAPES[row].label == label) check_shape(judge, &SHAPES[row], map);
    if (major == 0) check_special(judge, label, map);
    fs_skip(judge, &map);
  }
}

/* The value under the key that stands encoded in `key`, or at `off` where that is null; absent where there is none. */
static fs_pair look_up(fs_judge *judge, fs_cur map, const uint8_t *key, uint32_t off, uint32_t length) {
  uint32_t count;
  if (map.off == map.end) return 0;
  count = fs_take(judge, &map, 5);
  for (; count > 0 && FS_GOOD(judge); count--) {
    uint32_t at = map.off;
    fs_skip(judge, &map);
    if (map.off - at == length &&
        (key != 0 ? fs_holds(judge, at, key, length) : fs_order(judge, at, off, length) == 0))
      return fs_pair_of(map);
    fs_skip(judge, &map);
  }
  return 0;
}

fs_pair fs_look_up_r(fs_judge *judge, fs_cur map, int32_t label) {
  uint8_t key[5];
  uint32_t length =
      label < 0 ? fs_put_head(key, 1, (uint32_t)(-1 - label)) : fs_put_head(key, 0, (uint32_t)label);
  return look_up(judge, map, key, 0, length);
}

fs_pair fs_header_r(fs_judge *judge, const fs_block *block, int32_t label, uint32_t where) {
  fs_pair found = fs_look_up_r(judge, block->is_protected, label);
  if (found == 0 && where == FS_IN_ANY) found = fs_look_up_r(judge, block->is_unprotected, label);
  return found;
}

/* A label stands in one bucket only, and one form of an IV (RFC 9052 sections 3 and 3.1). */
static void check_buckets(fs_judge *judge, const fs_block *block) {
  fs_cur at = block->is_unprotected;
  uint32_t count = fs_take(judge, &at, 5);
  uint32_t i;
  for (i = 0; i < count && FS_GOOD(judge); i++) {
    uint32_t key = at.off;
    fs_skip(judge, &at);
    if (look_up(judge, block->is_protected, 0, key, at.off - key) != 0) fs_bad(judge);
    fs_skip(judge, &at);
  }
  if (!FS_ABSENT(fs_header(judge, block, IV, FS_IN_ANY)) && !FS_ABSENT(fs_header(judge, block, PARTIAL_IV, FS_IN_ANY)))
    fs_bad(judge);
}

void fs_read_headers(fs_judge *judge, fs_cur *at, fs_block *layer) {
  layer->is_protected = fs_string(judge, at);
  layer->is_unprotected = *at;
  fs_skip(judge, at);
  layer->is_unprotected.end = at->off;
  layer->has_protected = 0;
  if (!FS_GOOD(judge)) return;
  if (layer->is_protected.off != layer->is_protected.end) {
    fs_valid(judge, layer->is_protected, BLOCK_ITEMS, 1);
    layer->has_protected = fs_byte(judge, layer->is_protected.off) != 0xa0;
    check_bucket(judge, layer->is_protected);
  }
  check_bucket(judge, layer->is_unprotected);
  check_buckets(judge, layer);
}

void fs_read_block(fs_judge *judge, fs_cur span, fs_block *block) {
  uint32_t tag;
  memset(block, 0, sizeof *block);
  fs_valid(judge, span, BLOCK_ITEMS, 1);
  tag = fs_take(judge, &span, 6);
  block->mac = tag == 17;
  if (tag != 17 && tag != 18) fs_bad(judge);
  fs_expect(judge, &span, 4, 4);
  fs_read_headers(judge, &span, block);
  fs_expect(judge, &span, 7, 22);
  block->seal = fs_string(judge, &span);
}

void fs_signed_parts(fs_judge *judge, const fs_block *block, uint8_t head[FS_SIGNED_HEAD], fs_bytes parts[4]) {
  static const uint8_t SIGNATURE[] = {0x84, 0x6a, 'S', 'i', 'g', 'n', 'a', 't', 'u', 'r', 'e', '1'};
  static const uint8_t MAC[] = {0x84, 0x64, 'M', 'A', 'C', '0'};
  uint32_t length = block->mac ? sizeof MAC : sizeof SIGNATURE;
  uint32_t headers = block->is_protected.end - block->is_protected.off;
  uint32_t payload = judge->digest.end - judge->digest.off;
  /* An empty map enters as the empty string, however it was sent (RFC 9052 section 3). */
  if (headers == 1) headers = 0;
  memcpy(head, block->mac ? MAC : SIGNATURE, length);
  parts[0].bytes = head;
  parts[0].length = length + fs_put_head(head + length, 2, headers);
  parts[1].bytes = judge->b + block->is_protected.off;
  parts[1].length = headers;
  parts[2].bytes = head + parts[0].length;
  head[parts[0].length] = 0x40;
  parts[2].length = 1 + fs_put_head(head + parts[0].length + 1, 2, payload);
  parts[3].bytes = judge->b + judge->digest.off;
  parts[3].length = payload;
}
