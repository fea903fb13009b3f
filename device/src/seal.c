/* Steps 2 and 3: who sealed it and whether they may; whether the seal is theirs (RFC 9052 sections 4.4 and 6.3). */
#include "internal.h"

#define KID 4
#define MOST_SIGNATURES 8u

/* The block with this index, and where it is. */
static FS_APART void block_at(fs_judge *judge, uint32_t index, fs_cur *span, fs_block *block) {
  fs_cur at = judge->blocks;
  *span = fs_string(judge, &at);
  while (index-- > 0) *span = fs_string(judge, &at);
  fs_read_block(judge, *span, block);
}

/*
 * The first signature counts whose signer may seal for this unit, those of the unit's algorithm before the others; where
 * none may, the refusal is the first one's.
 */
static FS_APART uint32_t judge_signatures(fs_judge *judge) {
  fs_status first = 0;
  uint32_t tried = 0;
  uint32_t others;
  fs_certificate signer;
  for (others = 0; others < 2; others++) {
    uint32_t i;
    for (i = 0; i < judge->block_count && tried < MOST_SIGNATURES; i++) {
      fs_block block;
      fs_cur span;
      block_at(judge, i, &span, &block);
      if (block.mac || (fs_algorithm_of(judge, &block, FS_IN_PROTECTED) != judge->unit->algorithm) != others) continue;
      tried++;
      fs_judge_signer(judge, &block, &signer);
      if (FS_GOOD(judge)) {
        judge->block = span;
        fs_judge_signature(judge, &block, &signer);
        fs_read_security_version(judge, &block);
        return 1;
      }
      if (first == 0) first = judge->status;
      judge->status = 0;
    }
  }
  if (first != 0) fs_fail(judge, first);
  return tried;
}

/* Key of the unit that a MAC names; FS_NO_KEY where it names none that the unit holds, or none at all (`unnamed`). */
static uint32_t key_of(fs_judge *judge, const fs_block *block, uint32_t *unnamed) {
  fs_cur at = fs_header(judge, block, KID, FS_IN_ANY);
  uint32_t i;
  *unnamed = FS_ABSENT(at) || fs_byte(judge, at.off) >> 5 != 2;
  if (*unnamed) return FS_NO_KEY;
  at = fs_string(judge, &at);
  for (i = 0; i < judge->unit->mac_key_count; i++)
    if (fs_span_is(judge, at, judge->unit->mac_keys[i].id.bytes, judge->unit->mac_keys[i].id.length)) return i;
  return FS_NO_KEY;
}

/* The first MAC that names a key of the unit, or else the first that names none. */
static FS_APART uint32_t judge_macs(fs_judge *judge) {
  uint32_t chosen = judge->block_count;
  uint32_t macs = 0;
  uint32_t key = FS_NO_KEY;
  fs_block block;
  fs_cur span;
  uint32_t i;
  for (i = 0; i < judge->block_count && key == FS_NO_KEY; i++) {
    uint32_t unnamed;
    block_at(judge, i, &span, &block);
    if (!block.mac) continue;
    macs++;
    key = key_of(judge, &block, &unnamed);
    if (key != FS_NO_KEY || (unnamed && judge->unit->mac_key_count > 0 && chosen == judge->block_count)) chosen = i;
  }
  if (macs == 0) return 0;
  if (chosen == judge->block_count) {
    fs_fail(judge, FS_MAC_KEY_UNKNOWN);
    return macs;
  }
  block_at(judge, chosen, &judge->block, &block);
  fs_judge_mac(judge, &block, key);
  fs_read_security_version(judge, &block);
  return macs;
}

void fs_step_seal(fs_judge *judge) {
  uint32_t found = judge->unit->algorithm == FS_HMAC_256 ? judge_macs(judge) : judge_signatures(judge);
  if (found == 0) fs_fail(judge, judge->block_count == 0 ? FS_AUTHENTICATION_MISSING : FS_SCHEME_WRONG);
}
