/*
 * HSS/LMS (RFC 8554; RFC 9858 for hashes of 24 bytes): no heap, no recursion, two SHA-256 under way at once. The verdict has two
 * evidences: the roots compared; and the roots compared by other code, beside the number of steps by which the chains were walked.
 * Without that number one instruction left out would take the ends of chains, which anybody computes from a genuine signature.
 */
#include "hss-lms.h"

#include <string.h>

#define MOST_LEVELS 8u
#define IDENTIFIER 16u
/* I, a number, a domain or a chain; then a step and a value: one block of SHA-256 with its padding. */
#define HEAD 22u
#define LONGEST 32u

/* Domains (RFC 8554 section 7.1). */
#define D_PBLC 0x8080u
#define D_MESG 0x8181u
#define D_LEAF 0x8282u
#define D_INTR 0x8383u

/* An LMS public key (RFC 8554 section 5.3) and what its types stand for. */
typedef struct {
  const uint8_t *bytes;
  const uint8_t *root;
  uint32_t length;
  uint32_t n;
  uint32_t height;
  uint32_t width;
  uint32_t chains;
  uint32_t shift;
} tree;

/*
 * What is hashed with. `failed` is 0 while the port hashes; the last digest stands at the end of the block. Digests are counted where
 * they are made and where the port could see it: the number of turns of a loop a compiler knows without making them.
 */
typedef struct {
  const fs_crypto *crypto;
  uint32_t failed;
  uint32_t finished;
  fs_sha256 whole;
  fs_sha256 step;
  uint8_t block[HEAD + 1u + LONGEST];
} hashing;
#define DIGEST(of) ((of)->block + HEAD + 1u)

static uint32_t number_at(const uint8_t *bytes) {
  return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

/* The next bytes of what is left; null where it has not so many. */
static const uint8_t *take(fs_bytes *left, uint32_t length) {
  const uint8_t *at = left->bytes;

  if (left->length < length) return NULL;
  left->bytes += length;
  left->length -= length;
  return at;
}

static void start(hashing *of, fs_sha256 *state) {
  of->failed |= of->crypto->sha256_start(of->crypto->context, state) ^ FS_OK;
}

static void add(hashing *of, fs_sha256 *state, const uint8_t *bytes, uint32_t length) {
  of->failed |= of->crypto->sha256_update(of->crypto->context, state, bytes, length) ^ FS_OK;
}

static void finish(hashing *of, fs_sha256 *state) {
  of->failed |= of->crypto->sha256_finish(of->crypto->context, state, DIGEST(of)) ^ FS_OK;
  of->finished++;
}

/* Begins a hash as all do: I, a number, a domain. */
static void begin(hashing *of, uint32_t number, uint32_t domain) {
  for (uint32_t i = 0; i < 4u; i++) of->block[IDENTIFIER + i] = (uint8_t)(number >> (24u - 8u * i));
  of->block[20] = (uint8_t)(domain >> 8);
  of->block[21] = (uint8_t)domain;
  start(of, &of->whole);
  add(of, &of->whole, of->block, HEAD);
}

/* Takes the LMS public key that is next; 0 where it is of no known type. Type numbers: IANA, Leighton-Micali Signatures. */
static uint32_t take_tree(fs_bytes *from, tree *into) {
  static const uint16_t CHAINS[8] = {265, 133, 67, 34, 200, 101, 51, 26};
  static const uint8_t SHIFT[8] = {7, 6, 4, 0, 8, 6, 4, 0};
  fs_bytes peek = *from;
  const uint8_t *types = take(&peek, 8);
  uint32_t lms, ots;

  if (types == NULL) return 0;
  lms = number_at(types) - 5u;
  ots = number_at(types + 4) - 1u;
  if (lms > 9u || ots > 7u || lms / 5u != ots / 4u) return 0;
  into->n = ots < 4u ? 32u : 24u;
  into->height = 5u * (lms % 5u + 1u);
  into->width = 1u << ots % 4u;
  into->chains = CHAINS[ots];
  into->shift = SHIFT[ots];
  into->length = 8u + IDENTIFIER + into->n;
  into->bytes = take(from, into->length);
  if (into->bytes == NULL) return 0;
  into->root = into->bytes + 8u + IDENTIFIER;
  return 1;
}

/* What is left to walk from the digits of bytes on: for those of a message its checksum (RFC 8554 section 4.4). */
static uint32_t left_to_walk(const uint8_t *bytes, uint32_t length, uint32_t width) {
  const uint32_t last = (1u << width) - 1u;
  uint32_t sum = 0;

  for (uint32_t i = 0; i < length; i++)
    for (uint32_t bit = 0; bit < 8u; bit += width) sum += last - ((uint32_t)bytes[i] >> bit & last);
  return sum;
}

static uint32_t digit_at(const uint8_t *bytes, uint32_t index, uint32_t width) {
  const uint32_t bit = index * width;
  return (uint32_t)bytes[bit / 8u] >> (8u - width - bit % 8u) & ((1u << width) - 1u);
}

/* Walks one chain from its digit to its end (RFC 8554 section 4.3). */
static void walk(hashing *of, const tree *key, uint32_t chain, uint32_t digit, const uint8_t *value) {
  const uint32_t last = (1u << key->width) - 1u;

  memcpy(DIGEST(of), value, key->n);
  of->block[20] = (uint8_t)(chain >> 8);
  of->block[21] = (uint8_t)chain;
  for (uint32_t step = digit; step < last; step++) {
    of->block[HEAD] = (uint8_t)step;
    start(of, &of->step);
    add(of, &of->step, of->block, HEAD + 1u + key->n);
    finish(of, &of->step);
  }
}

/* RFC 8554 algorithm 4b: the one-time key that a signature (C, then the chains) stands for; 0 where all steps were walked. */
static uint32_t one_time_key(hashing *of, const tree *key, uint32_t leaf, const uint8_t *signature, const fs_bytes *parts,
                             uint32_t count) {
  const uint32_t digits = key->n * 8u / key->width;
  const uint32_t spare = digits + 16u / key->width - key->chains;
  uint8_t digest[LONGEST + 2u] = {0};
  uint32_t sum, wrong = 0;

  begin(of, leaf, D_MESG);
  add(of, &of->whole, signature, key->n);
  for (uint32_t i = 0; i < count; i++) add(of, &of->whole, parts[i].bytes, parts[i].length);
  finish(of, &of->whole);
  memcpy(digest, DIGEST(of), key->n);
  sum = left_to_walk(digest, key->n, key->width);
  digest[key->n] = (uint8_t)(sum << key->shift >> 8);
  digest[key->n + 1u] = (uint8_t)(sum << key->shift);

  begin(of, leaf, D_PBLC);
  of->finished = 0;
  for (uint32_t i = 0; i < key->chains; i++) {
    walk(of, key, i, digit_at(digest, i, key->width), signature + key->n * (i + 1u));
    if (i < digits) wrong = of->finished ^ sum;
    add(of, &of->whole, DIGEST(of), key->n);
  }
  /* Digits beyond the last chain are zeros. */
  of->finished += spare * ((1u << key->width) - 1u);
  wrong |= of->finished ^ left_to_walk(digest, key->n + 2u, key->width);
  finish(of, &of->whole);
  return wrong;
}

/* RFC 8554 algorithm 6a: from the one-time key, the last digest, to the root, which is it then. */
static void climb(hashing *of, const tree *key, uint32_t leaf, const uint8_t *path) {
  uint32_t node = (UINT32_C(1) << key->height) + leaf;

  begin(of, node, D_LEAF);
  add(of, &of->whole, DIGEST(of), key->n);
  finish(of, &of->whole);
  for (; node > 1u; node /= 2u, path += key->n) {
    begin(of, node / 2u, D_INTR);
    if (node % 2u != 0u) add(of, &of->whole, path, key->n);
    add(of, &of->whole, DIGEST(of), key->n);
    if (node % 2u == 0u) add(of, &of->whole, path, key->n);
    finish(of, &of->whole);
  }
}

/* The LMS signature that is next: q, one-time signature, type, path (RFC 8554 section 5.4); null where it does not fit its key. */
static const uint8_t *take_signature(fs_bytes *from, const tree *key) {
  const uint32_t one_time = key->n * (key->chains + 1u);
  const uint8_t *at = take(from, 12u + one_time + key->n * key->height);

  if (at == NULL || number_at(at) >> key->height != 0u) return NULL;
  if (memcmp(at + 4, key->bytes + 4, 4) != 0 || memcmp(at + 8 + one_time, key->bytes, 4) != 0) return NULL;
  return at;
}

/* 0 where the bytes are the same; another comparison than that of `differs`. */
static uint32_t distance(const uint8_t *a, const uint8_t *b, uint32_t length) {
  uint32_t sum = 0;

  while (length-- > 0u) sum += (uint32_t)(a[length] - b[length]) * (uint32_t)(a[length] - b[length]);
  return sum;
}

/* One level: adds to `differs` where its root is not that of its key; gives FS_CONFIRMED by the other evidence. */
static uint32_t judge_level(hashing *of, const tree *key, const uint8_t *signature, const fs_bytes *parts, uint32_t count,
                            uint32_t *differs) {
  const uint32_t leaf = number_at(signature);
  uint32_t wrong;

  memcpy(of->block, key->bytes + 8, IDENTIFIER);
  wrong = one_time_key(of, key, leaf, signature + 8, parts, count);
  climb(of, key, leaf, signature + 12u + key->n * (key->chains + 1u));
  for (uint32_t i = 0; i < key->n; i++) *differs |= (uint32_t)(DIGEST(of)[i] ^ key->root[i]);
  wrong |= distance(DIGEST(of), key->root, key->n);
  return wrong == 0u ? FS_CONFIRMED : 0u;
}

fs_status fs_hss_verify(const fs_crypto *crypto, fs_bytes key, const fs_bytes *parts, uint32_t count, fs_bytes signature,
                        uint32_t *again) {
  const uint8_t *levels_of_key = take(&key, 4);
  const uint8_t *levels_below = take(&signature, 4);
  uint32_t differs = 0, matched = 0, levels;
  hashing of;
  tree at, below;

  if (levels_of_key == NULL || levels_below == NULL) return FS_PORT_FAILED;
  levels = number_at(levels_of_key);
  if (levels == 0u || levels > MOST_LEVELS || number_at(levels_below) != levels - 1u) return FS_PORT_FAILED;
  if (!take_tree(&key, &at) || key.length != 0u) return FS_PORT_FAILED;
  of.crypto = crypto;
  of.failed = 0;
  of.finished = 0;
  for (uint32_t level = 1;; level++) {
    const uint8_t *own = take_signature(&signature, &at);
    fs_bytes signed_key;
    below = at;
    if (own == NULL || (level != levels && !take_tree(&signature, &below))) return FS_PORT_FAILED;
    signed_key.bytes = below.bytes;
    signed_key.length = below.length;
    if (level == levels) {
      matched += judge_level(&of, &at, own, parts, count, &differs);
      break;
    }
    matched += judge_level(&of, &at, own, &signed_key, 1, &differs);
    at = below;
  }
  if ((differs | of.failed | signature.length) != 0u) return FS_PORT_FAILED;
  *again = matched - (levels - 1u) * FS_CONFIRMED;
  return FS_OK;
}
