/*
 * Encrypted images: A128KW and AES-128-CTR (draft-ietf-suit-firmware-encryption sections 4 and 5; draft-ietf-suit-mti section 3.1),
 * decrypted on their way into the free slot.
 */
#include "internal.h"

#define ENCRYPT_TAG 96u
#define MOST_RECIPIENTS 2048u
#define DEEPEST_RECIPIENTS 8u
#define INFO_ITEMS (16u * (MOST_RECIPIENTS + 1u))
#define ALG 1
#define CRIT 2
#define KID 4
#define IV 5
#define A128KW (-3)
#define A128CTR (-65534)

/* COSE_recipient (RFC 9052 section 5.1): an array of 3, or 4 with recipients of its own. CBOR of our depth holds no more levels. */
static void read_recipient(fs_judge *judge, fs_cur *at, uint32_t levels) {
  uint32_t fields = fs_take(judge, at, 4);
  uint32_t count;
  fs_block layer;
  if ((fields != 3 && fields != 4) || levels == 0) fs_bad(judge);
  if (FS_GOOD(judge)) fs_read_headers(judge, at, &layer);
  if (FS_GOOD(judge) && fs_byte(judge, at->off) == 0xf6)
    fs_skip(judge, at);
  else
    (void)fs_string(judge, at);
  if (fields != 4 || !FS_GOOD(judge)) return;
  count = fs_take(judge, at, 4);
  if (count == 0) fs_bad(judge);
  while (count-- > 0 && FS_GOOD(judge)) read_recipient(judge, at, levels - 1);
}

/* Headers of the content, and `at` before the first of the recipients that it gives the number of. */
static uint32_t open_info(fs_judge *judge, fs_cur *at, fs_block *content) {
  fs_expect(judge, at, 6, ENCRYPT_TAG);
  fs_expect(judge, at, 4, 4);
  if (FS_GOOD(judge)) fs_read_headers(judge, at, content);
  fs_expect(judge, at, 7, 22);
  return fs_take(judge, at, 4);
}

void fs_read_encryption_info(fs_judge *judge, fs_cur info) {
  fs_block content;
  uint32_t count;
  fs_valid(judge, info, INFO_ITEMS, 1);
  count = open_info(judge, &info, &content);
  if (count == 0 || count > MOST_RECIPIENTS) fs_bad(judge);
  while (count-- > 0 && FS_GOOD(judge)) read_recipient(judge, &info, DEEPEST_RECIPIENTS);
}

/* The algorithm is the one of the unit, and nothing is protected where nothing can be (RFC 9459 section 4). */
static void judge_content(fs_judge *judge, const fs_block *content, fs_cipher *cipher) {
  fs_cur at = fs_header(judge, content, IV, FS_IN_ANY);
  fs_judge_criticality(judge, content, 1, FS_ENCRYPTION_INFO_WRONG);
  fs_refuse_unless(judge, !FS_ABSENT(fs_header(judge, content, ALG, FS_IN_ANY)), FS_ENCRYPTION_INFO_WRONG);
  fs_refuse_unless(judge, fs_algorithm_of(judge, content, FS_IN_ANY) == A128CTR, FS_ENCRYPTION_ALGORITHM_NOT_ALLOWED);
  fs_refuse_unless(judge, content->is_protected.off == content->is_protected.end, FS_ENCRYPTION_INFO_WRONG);
  fs_refuse_unless(judge, !FS_ABSENT(at), FS_ENCRYPTION_INFO_WRONG);
  if (!FS_GOOD(judge)) return;
  at = fs_string(judge, &at);
  fs_refuse_unless(judge, at.end - at.off == 16, FS_ENCRYPTION_INFO_WRONG);
  cipher->iv = judge->b + at.off;
}

/* kid is a hint: without one the key is tried (RFC 9052 section 3.1). */
static uint32_t may_be_for(fs_judge *judge, const fs_block *recipient, const fs_named_key *key) {
  fs_cur at = fs_header(judge, recipient, KID, FS_IN_ANY);
  if (FS_ABSENT(at)) return 1;
  if (fs_byte(judge, at.off) >> 5 != 2) return 0;
  return fs_span_is(judge, fs_string(judge, &at), key->id.bytes, key->id.length);
}

/* FS_OK where a key of the unit opens what the recipient brings; 0 where it is for others, else why not. */
static fs_status judge_recipient(fs_judge *judge, const fs_block *recipient, uint32_t nests, fs_cipher *cipher) {
  uint32_t bare = !nests && !recipient->has_protected && !FS_ABSENT(recipient->seal);
  fs_status found = 0;
  uint32_t i;
  fs_judge_criticality(judge, recipient, 0, FS_ENCRYPTION_INFO_WRONG);
  if (!FS_GOOD(judge)) {
    judge->status = 0;
    return FS_ENCRYPTION_INFO_WRONG;
  }
  if (fs_algorithm_of(judge, recipient, FS_IN_ANY) != A128KW) return 0;
  for (i = 0; i < judge->unit->content_key_count; i++) {
    const fs_named_key *key = &judge->unit->content_keys[i];
    if (!may_be_for(judge, recipient, key)) continue;
    found = FS_CONTENT_KEY_WRONG;
    if (!bare) return FS_ENCRYPTION_INFO_WRONG;
    if (recipient->seal.end - recipient->seal.off != 24) continue;
    cipher->wrapped = judge->b + recipient->seal.off;
    cipher->slot = key->slot;
    if (fs_opens(judge->crypto, cipher)) return FS_OK;
  }
  return found;
}

void fs_judge_encryption(fs_judge *judge, fs_cur info, fs_cipher *cipher) {
  fs_status refusal = FS_RECIPIENT_MISSING;
  fs_block layer;
  uint32_t count;
  memset(&layer, 0, sizeof layer);
  count = open_info(judge, &info, &layer);
  judge_content(judge, &layer, cipher);
  while (count-- > 0 && FS_GOOD(judge)) {
    fs_status one;
    fs_cur at = info;
    uint32_t fields = fs_take(judge, &at, 4);
    fs_read_headers(judge, &at, &layer);
    layer.seal.off = 0;
    if (fs_byte(judge, at.off) != 0xf6) layer.seal = fs_string(judge, &at);
    one = judge_recipient(judge, &layer, fields == 4, cipher);
    if (one == FS_OK) return;
    if (one != 0) refusal = one;
    fs_skip(judge, &info);
  }
  fs_fail(judge, refusal);
}
