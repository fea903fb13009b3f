/* Steps 2 and 3: who sealed it and whether they may; whether the seal is theirs (RFC 9052 sections 4.4 and 6.3). */
#include "internal.h"

#define ALG 1
#define CRIT 2
#define KID 4
#define SECURITY_VERSION (-70001)
#define MOST_SIGNATURES 8u
#define NO_KEY UINT32_MAX

/* The algorithm that the protected header names; 0 where it names none by a number. */
static int32_t algorithm_of(fs_judge *judge, const fs_block *block) {
  fs_cur at = fs_header(judge, block, ALG, FS_IN_PROTECTED);
  uint32_t major;
  if (FS_ABSENT(at)) return 0;
  major = fs_head(judge, &at);
  if (major > 1 || judge->argument > INT32_MAX) return 0;
  return major == 0 ? (int32_t)judge->argument : -1 - (int32_t)judge->argument;
}

/* Labels that crit may name: all of them are acted on here. */
static uint32_t is_understood(int32_t label) {
  return (label >= 1 && label <= 4) || label == 33 || label == 34 || label == SECURITY_VERSION;
}

/* RFC 9052 section 3.1: crit is protected, and so is whatever it names, and all of that is understood. */
static void judge_criticality(fs_judge *judge, const fs_block *block) {
  fs_cur at = fs_header(judge, block, CRIT, FS_IN_ANY);
  uint32_t count;
  uint32_t i;
  if (FS_ABSENT(at)) return;
  fs_refuse_unless(judge, !FS_ABSENT(fs_header(judge, block, CRIT, FS_IN_PROTECTED)), FS_HEADER_CRITICAL_UNKNOWN);
  count = fs_take(judge, &at, 4);
  for (i = 0; i < count && FS_GOOD(judge); i++) {
    int32_t label = fs_integer(judge, &at, FS_HEADER_CRITICAL_UNKNOWN);
    fs_refuse_unless(judge, is_understood(label) && !FS_ABSENT(fs_header(judge, block, label, FS_IN_PROTECTED)),
                     FS_HEADER_CRITICAL_UNKNOWN);
  }
}

static void judge_algorithm(fs_judge *judge, const fs_block *block) {
  fs_refuse_unless(judge, !FS_ABSENT(fs_header(judge, block, ALG, FS_IN_PROTECTED)), FS_ALGORITHM_NOT_PROTECTED);
  fs_refuse_unless(judge, algorithm_of(judge, block) == judge->unit->algorithm, FS_ALGORITHM_NOT_ALLOWED);
  if (FS_GOOD(judge)) judge_criticality(judge, block);
}

/* The security version that the protected header states; judged in step 5. */
static void read_security_version(fs_judge *judge, const fs_block *block) {
  fs_cur at = fs_header(judge, block, SECURITY_VERSION, FS_IN_PROTECTED);
  judge->security_version = 0;
  judge->security_version_wrong = 0;
  if (FS_ABSENT(at)) return;
  judge->security_version_wrong = fs_head(judge, &at) != 0 || judge->wide > UINT32_MAX;
  judge->security_version = judge->argument;
}

static fs_cur block_at(fs_judge *judge, uint32_t index, fs_block *block) {
  fs_cur at = judge->blocks;
  fs_cur span = {0, 0};
  uint32_t i;
  for (i = 0; i <= index; i++) span = fs_string(judge, &at);
  fs_read_block(judge, span, block);
  return span;
}

static void judge_signature(fs_judge *judge, const fs_block *block, const fs_certificate *signer) {
  uint8_t head[FS_SIGNED_HEAD];
  fs_bytes parts[4];
  uint32_t wanted = judge->unit->algorithm == FS_ESP256 ? FS_KEY_P256 : FS_KEY_ED25519;
  judge_algorithm(judge, block);
  fs_refuse_unless(judge, signer->key == wanted, FS_KEY_TYPE_WRONG);
  fs_refuse_unless(judge, block->seal.end - block->seal.off == 64, FS_SIGNATURE_WRONG);
  if (!FS_GOOD(judge)) return;
  fs_signed_parts(judge, block, head, parts);
  if (fs_verify(judge, wanted, judge->b + signer->spki.off, parts, 4, judge->b + block->seal.off, block->seal.off) !=
      FS_OK)
    fs_fail(judge, FS_SIGNATURE_WRONG);
}

/*
 * The first signature counts whose signer may seal for this unit, those of the unit's algorithm before the others; where
 * none may, the refusal is the first one's.
 */
static uint32_t judge_signatures(fs_judge *judge) {
  fs_status first = 0;
  uint32_t tried = 0;
  uint32_t others;
  fs_certificate signer;
  for (others = 0; others < 2; others++) {
    uint32_t i;
    for (i = 0; i < judge->block_count && tried < MOST_SIGNATURES; i++) {
      fs_block block;
      fs_cur span = block_at(judge, i, &block);
      if (block.mac || (algorithm_of(judge, &block) != judge->unit->algorithm) != others) continue;
      tried++;
      fs_judge_signer(judge, &block, &signer);
      if (FS_GOOD(judge)) {
        judge->block = span;
        judge_signature(judge, &block, &signer);
        read_security_version(judge, &block);
        return 1;
      }
      if (first == 0) first = judge->status;
      judge->status = 0;
    }
  }
  if (first != 0) fs_fail(judge, first);
  return tried;
}

/* Key of the unit that a MAC names; NO_KEY where it names none that the unit holds, or none at all (`unnamed`). */
static uint32_t key_of(fs_judge *judge, const fs_block *block, uint32_t *unnamed) {
  fs_cur at = fs_header(judge, block, KID, FS_IN_ANY);
  uint32_t i;
  *unnamed = FS_ABSENT(at) || judge->b[at.off] >> 5 != 2;
  if (*unnamed) return NO_KEY;
  at = fs_string(judge, &at);
  for (i = 0; i < judge->unit->mac_key_count; i++)
    if (fs_span_is(judge, at, judge->unit->mac_keys[i].id.bytes, judge->unit->mac_keys[i].id.length)) return i;
  return NO_KEY;
}

/* Without a key id any key held may be the one; each is tried whole, so that time tells nothing. */
static void judge_mac(fs_judge *judge, const fs_block *block, uint32_t key) {
  uint8_t head[FS_SIGNED_HEAD];
  uint8_t tag[32];
  fs_bytes parts[4];
  fs_status found = FS_MAC_WRONG;
  uint32_t i;
  judge_algorithm(judge, block);
  fs_refuse_unless(judge, block->seal.end - block->seal.off == 32, FS_MAC_WRONG);
  if (!FS_GOOD(judge)) return;
  fs_signed_parts(judge, block, head, parts);
  for (i = 0; i < judge->unit->mac_key_count; i++) {
    if (key != NO_KEY && key != i) continue;
    if (judge->crypto->hmac_sha256(judge->crypto->context, judge->unit->mac_keys[i].slot, parts, 4, tag) != FS_OK)
      continue;
    if (fs_same(tag, judge->b + block->seal.off, 32) == FS_OK) found = FS_OK;
  }
  if (found != FS_OK) fs_fail(judge, FS_MAC_WRONG);
}

/* The first MAC that names a key of the unit, or else the first that names none. */
static uint32_t judge_macs(fs_judge *judge) {
  uint32_t chosen = judge->block_count;
  uint32_t macs = 0;
  uint32_t key = NO_KEY;
  fs_block block;
  uint32_t i;
  for (i = 0; i < judge->block_count && key == NO_KEY; i++) {
    uint32_t unnamed;
    (void)block_at(judge, i, &block);
    if (!block.mac) continue;
    macs++;
    key = key_of(judge, &block, &unnamed);
    if (key != NO_KEY || (unnamed && chosen == judge->block_count)) chosen = i;
  }
  if (macs == 0) return 0;
  if (chosen == judge->block_count) {
    fs_fail(judge, FS_MAC_KEY_UNKNOWN);
    return macs;
  }
  judge->block = block_at(judge, chosen, &block);
  judge_mac(judge, &block, key);
  read_security_version(judge, &block);
  return macs;
}

void fs_step_seal(fs_judge *judge) {
  uint32_t found = judge->unit->algorithm == FS_HMAC_256 ? judge_macs(judge) : judge_signatures(judge);
  if (found == 0) fs_fail(judge, judge->block_count == 0 ? FS_AUTHENTICATION_MISSING : FS_SCHEME_WRONG);
}
