/* CBOR in the one form that envelopes have (RFC 8949 section 4.2.1), read by absolute offsets. */
#include "internal.h"

#define DEPTH 16u
#define LARGEST_NUMBER UINT64_C(0x1fffffffffffff)
/* Keys of one map that may come in any order. */
#define LOOSE_KEYS 32u

uint32_t fs_head(fs_judge *judge, fs_cur *at) {
  static const uint32_t LEAST[4] = {24, 0x100, 0x10000, 0};
  uint32_t off = at->off;
  uint32_t initial;
  uint32_t information;
  uint64_t value;
  judge->argument = 0;
  judge->wide = 0;
  if (off >= at->end) {
    fs_bad(judge);
    return FS_NO_ITEM;
  }
  initial = fs_byte(judge, off++);
  information = initial & 31u;
  value = information;
  if (information >= 24) {
    uint32_t width = information > 27 ? 0 : 1u << (information - 24);
    uint32_t shortest;
    if (width == 0 || at->end - off < width) {
      fs_bad(judge);
      return FS_NO_ITEM;
    }
    value = fs_number_at(judge, off, width);
    off += width;
    if (initial >= 0xe0)
      shortest = initial != 0xf8 || value >= 32;
    else
      shortest = width == 8 ? (uint32_t)(value >> 32) != 0 : (uint32_t)value >= LEAST[information - 24];
    if (!shortest) {
      fs_bad(judge);
      return FS_NO_ITEM;
    }
  }
  at->off = off;
  judge->wide = value;
  judge->argument = value > UINT32_MAX ? UINT32_MAX : (uint32_t)value;
  return initial >> 5;
}

static void advance(fs_judge *judge, fs_cur *at, uint32_t length) {
  if (length > at->end - at->off)
    fs_bad(judge);
  else
    at->off += length;
}

/* Items that a head announces behind it, its own strings passed. */
static uint32_t announced(fs_judge *judge, fs_cur *at, uint32_t major) {
  uint32_t argument = judge->argument;
  uint32_t each = major == 5 ? 2 : 1;
  switch (major) {
    case 2:
    case 3:
      advance(judge, at, argument);
      return 0;
    case 6:
      return 1;
    case 4:
    case 5:
      if (argument > (at->end - at->off) / each) break;
      return argument * each;
    default:
      return 0;
  }
  fs_bad(judge);
  return 0;
}

void fs_skip(fs_judge *judge, fs_cur *at) {
  uint32_t left = 1;
  while (left > 0 && FS_GOOD(judge)) {
    uint32_t major = fs_head(judge, at);
    left += announced(judge, at, major) - 1;
  }
}

/* Whether a float with 23 bits behind its point is held by one that has `drop` bits less, and exponents up to `most`. */
static uint32_t fits_shorter(int32_t exponent, uint32_t significand, uint32_t drop, int32_t bias, int32_t most) {
  if (exponent == bias + 1) return 1;
  if (exponent == -bias) return significand == 0;
  if (exponent > most) return 0;
  if (exponent < 1 - most) drop += (uint32_t)(1 - most - exponent);
  return drop <= 23 && ((significand | 1u << 23) & ((1u << drop) - 1)) == 0;
}

/* Whether a number has a shorter form, or is another NaN than the one. Every NaN and infinity "fits" a shorter form. */
static uint32_t is_long(uint32_t initial, uint64_t bits) {
  uint32_t low = (uint32_t)bits;
  uint32_t high = (uint32_t)(bits >> 32);
  int32_t exponent = (int32_t)(high >> 20 & 0x7ff) - 1023;
  if (initial == 0xf9) return (low & 0x7fff) > 0x7c00 && low != 0x7e00;
  if (initial == 0xfa) return fits_shorter((int32_t)(low >> 23 & 0xff) - 127, low & 0x7fffff, 13, 127, 15);
  if (initial != 0xfb) return 0;
  if ((low & 0x1fffffff) != 0) return exponent == 1024;
  return fits_shorter(exponent, (high << 3 | low >> 29) & 0x7fffff, 0, 1023, 127);
}

static uint32_t continues(const fs_judge *judge, uint32_t off, uint32_t end, uint32_t count) {
  if (end - off < count) return 0;
  for (; count > 0; count--, off++)
    if ((fs_byte(judge, off) & 0xc0) != 0x80) return 0;
  return 1;
}

uint32_t fs_is_utf8(const fs_judge *judge, fs_cur text) {
  uint32_t off = text.off;
  while (off < text.end) {
    uint32_t first = fs_byte(judge, off++);
    uint32_t second = fs_byte(judge, off);
    uint32_t more = first < 0x80 ? 0 : first < 0xe0 ? 1 : first < 0xf0 ? 2 : 3;
    if (more == 0) continue;
    if (first < 0xc2 || first > 0xf4 || !continues(judge, off, text.end, more)) return 0;
    if (first == 0xe0 && second < 0xa0) return 0;
    if (first == 0xed && second >= 0xa0) return 0;
    if (first == 0xf0 && second < 0x90) return 0;
    if (first == 0xf4 && second >= 0x90) return 0;
    off += more;
  }
  return 1;
}

/* Arrays, maps and tags under way: items to come of each, which of them are maps, and a key of each map (check_key). */
typedef struct {
  uint32_t key[DEPTH];
  uint16_t left[DEPTH];
  uint32_t maps;
} levels;

/* Where the key begins that ends at `end`; `from` is a key before it, or the key itself. */
static uint32_t key_up_to(fs_judge *judge, uint32_t from, uint32_t end) {
  fs_cur at = {from, end};
  for (;;) {
    fs_skip(judge, &at);
    if (at.off >= end || !FS_GOOD(judge)) return from;
    fs_skip(judge, &at);
    from = at.off;
  }
}

/*
 * A key was read up to `end`: it must be above the one before, which begins at `key`. Where order does not count, `key` is the
 * first of all, and it must be none of them. No encoding is the beginning of another: the length of the later key tells two apart.
 */
static void check_key(fs_judge *judge, uint32_t *key, uint32_t end, uint32_t loose) {
  uint32_t last = key_up_to(judge, *key, end);
  uint32_t keys = 0;
  fs_cur at = {*key, last};
  while (at.off < last && FS_GOOD(judge)) {
    int order = fs_order(judge, at.off, last, end - last);
    if (loose ? order == 0 || ++keys > LOOSE_KEYS : order >= 0) fs_bad(judge);
    fs_skip(judge, &at);
    fs_skip(judge, &at);
  }
  if (!loose) *key = last;
}

/* An item ends, and with it all that end with it; gives the depth that is left. */
static uint32_t end_items(fs_judge *judge, levels *in, uint32_t depth, uint32_t end, uint32_t loose) {
  while (depth > 0) {
    uint32_t level = depth - 1;
    in->left[level]--;
    if ((in->maps >> level & in->left[level] & 1u) != 0) check_key(judge, &in->key[level], end, loose);
    if (in->left[level] > 0) break;
    depth = level;
  }
  return depth;
}

/* The items of an array, map or tag begin at `from`. */
static void begin_items(levels *in, uint32_t depth, uint32_t from, uint32_t count, uint32_t is_map) {
  in->key[depth] = from;
  in->left[depth] = (uint16_t)count;
  in->maps = (in->maps & ~(1u << depth)) | is_map << depth;
}

void fs_valid(fs_judge *judge, fs_cur span, uint32_t items, uint32_t loose) {
  levels in;
  uint32_t depth = 0;
  fs_cur at = span;
  memset(&in, 0, sizeof in);
  do {
    uint32_t from = at.off;
    uint32_t major;
    uint32_t inside;
    if (from >= at.end) fs_bad(judge);
    if (items == 0) fs_fail(judge, judge->limit);
    items--;
    major = fs_head(judge, &at);
    if (major >= 4 && major <= 6 && depth == DEPTH) fs_fail(judge, judge->limit);
    inside = announced(judge, &at, major);
    if (inside > items) fs_fail(judge, judge->limit);
    if (!FS_GOOD(judge)) return;
    if (major == 3) {
      fs_cur text = {at.off - judge->argument, at.off};
      if (!fs_is_utf8(judge, text)) fs_bad(judge);
    }
    if (major == 7 && is_long(fs_byte(judge, from), judge->wide)) fs_bad(judge);
    if (inside > 0 && depth < DEPTH)
      begin_items(&in, depth++, at.off, inside, major == 5);
    else
      depth = end_items(judge, &in, depth, at.off, loose);
  } while (depth > 0 && FS_GOOD(judge));
  if (at.off != span.end) fs_bad(judge);
}

uint32_t fs_take(fs_judge *judge, fs_cur *at, uint32_t major) {
  if (fs_head(judge, at) != major || (major < 2 && judge->wide > LARGEST_NUMBER)) fs_bad(judge);
  return FS_GOOD(judge) ? judge->argument : 0;
}

void fs_expect(fs_judge *judge, fs_cur *at, uint32_t major, uint32_t argument) {
  if (fs_take(judge, at, major) != argument) fs_bad(judge);
}

int32_t fs_integer(fs_judge *judge, fs_cur *at, fs_status code) {
  uint32_t major = fs_head(judge, at);
  int32_t value = judge->argument > INT32_MAX ? INT32_MAX : (int32_t)judge->argument;
  if (major > 1 || judge->wide + major > LARGEST_NUMBER) fs_fail(judge, code);
  return major == 0 ? value : -1 - value;
}

fs_pair fs_string_r(fs_judge *judge, fs_cur *at) {
  fs_cur content;
  uint32_t length = fs_take(judge, at, 2);
  content.off = at->off;
  advance(judge, at, length);
  content.end = at->off;
  return fs_pair_of(content);
}

fs_pair fs_wrapped_r(fs_judge *judge, fs_cur *at) {
  fs_cur content = fs_string(judge, at);
  fs_valid(judge, content, FS_ITEMS, 0);
  return fs_pair_of(content);
}

uint32_t fs_digest(fs_judge *judge, fs_cur at, fs_status unknown) {
  uint32_t wanted = 0;
  int32_t algorithm;
  fs_cur bytes;
  fs_expect(judge, &at, 4, 2);
  algorithm = fs_integer(judge, &at, judge->malformed);
  bytes = fs_string(judge, &at);
  if (algorithm == -16 || algorithm == -18) wanted = 32;
  if (algorithm == -43) wanted = 48;
  if (algorithm == -44 || algorithm == -45) wanted = 64;
  if (wanted == 0) fs_fail(judge, unknown);
  if (bytes.end - bytes.off != wanted) fs_bad(judge);
  if (!FS_GOOD(judge) || algorithm != -16 || judge->size < 32 || bytes.off > judge->size - 32) return 0;
  return bytes.off;
}

uint32_t fs_put_head(uint8_t *into, uint32_t major, uint32_t argument) {
  uint32_t width = argument < 24 ? 0 : argument <= 0xff ? 1 : argument <= 0xffff ? 2 : 4;
  uint32_t information = width == 0 ? argument : width == 1 ? 24 : width == 2 ? 25 : 26;
  into[0] = (uint8_t)(major << 5 | information);
  fs_put32(into + 1, width, argument);
  return 1 + width;
}
