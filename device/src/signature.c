/* Step 3: the signature or MAC over the sealed digest, under the one algorithm of the unit (RFC 9052 sections 4.4, 6.3). */
#include "internal.h"

#define ALG 1
#define CRIT 2
#define IV 5
#define SECURITY_VERSION (-70001)

int32_t fs_algorithm_of(fs_judge *judge, const fs_block *block, uint32_t where) {
  fs_cur at = fs_header(judge, block, ALG, where);
  uint32_t major;
  if (FS_ABSENT(at)) return 0;
  major = fs_head(judge, &at);
  if (major > 1 || judge->argument > INT32_MAX) return 0;
  return major == 0 ? (int32_t)judge->argument : -1 - (int32_t)judge->argument;
}

/* Labels that crit may name: all of them are acted on here, an IV only where something is decrypted. */
static uint32_t is_understood(int32_t label, uint32_t decrypts) {
  if (decrypts && label == IV) return 1;
  return (label >= 1 && label <= 4) || (!decrypts && (label == 33 || label == 34 || label == SECURITY_VERSION));
}

/* RFC 9052 section 3.1: crit is protected, and so is whatever it names, and all of that is understood. */
void fs_judge_criticality(fs_judge *judge, const fs_block *block, uint32_t decrypts, fs_status code) {
  fs_cur at = fs_header(judge, block, CRIT, FS_IN_ANY);
  uint32_t count;
  uint32_t i;
  if (FS_ABSENT(at)) return;
  fs_refuse_unless(judge, !FS_ABSENT(fs_header(judge, block, CRIT, FS_IN_PROTECTED)), code);
  count = fs_take(judge, &at, 4);
  for (i = 0; i < count && FS_GOOD(judge); i++) {
    int32_t label = fs_integer(judge, &at, code);
    fs_refuse_unless(judge,
                     is_understood(label, decrypts) && !FS_ABSENT(fs_header(judge, block, label, FS_IN_PROTECTED)),
                     code);
  }
}

static void judge_algorithm(fs_judge *judge, const fs_block *block) {
  fs_refuse_unless(judge, !FS_ABSENT(fs_header(judge, block, ALG, FS_IN_PROTECTED)), FS_ALGORITHM_NOT_PROTECTED);
  fs_refuse_unless(judge, fs_algorithm_of(judge, block, FS_IN_PROTECTED) == judge->unit->algorithm, FS_ALGORITHM_NOT_ALLOWED);
  if (FS_GOOD(judge)) fs_judge_criticality(judge, block, 0, FS_HEADER_CRITICAL_UNKNOWN);
}

/* The security version that the protected header states; judged in step 5. */
void fs_read_security_version(fs_judge *judge, const fs_block *block) {
  fs_cur at = fs_header(judge, block, SECURITY_VERSION, FS_IN_PROTECTED);
  judge->security_version = 0;
  judge->security_version_wrong = 0;
  if (FS_ABSENT(at)) return;
  judge->security_version_wrong = fs_head(judge, &at) != 0 || judge->wide > UINT32_MAX;
  judge->security_version = judge->argument;
}

void fs_judge_signature(fs_judge *judge, const fs_block *block, const fs_certificate *signer) {
  uint8_t head[FS_SIGNED_HEAD];
  fs_bytes parts[4];
  int32_t algorithm = judge->unit->algorithm;
  uint32_t wanted = algorithm == FS_ESP256 ? FS_KEY_P256 : algorithm == FS_HSS_LMS ? FS_KEY_HSS : FS_KEY_ED25519;
  judge_algorithm(judge, block);
  fs_refuse_unless(judge, signer->key == wanted, FS_KEY_TYPE_WRONG);
  if (!FS_GOOD(judge)) return;
  fs_signed_parts(judge, block, head, parts);
  if (fs_verify(judge, wanted, fs_bytes_of(judge, signer->spki), parts, 4, fs_bytes_of(judge, block->seal),
                &judge->evidence.seal) != FS_OK)
    fs_fail(judge, FS_SIGNATURE_WRONG);
}

/* Without a key id any key held may be the one; each is tried whole, so that time tells nothing. */
void fs_judge_mac(fs_judge *judge, const fs_block *block, uint32_t key) {
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
    if (key != FS_NO_KEY && key != i) continue;
    if (judge->crypto->hmac_sha256(judge->crypto->context, judge->unit->mac_keys[i].slot, parts, 4, tag) != FS_OK)
      continue;
    if (fs_same(tag, judge->b + block->seal.off, 32) == FS_OK) found = FS_OK;
    if (fs_differs(tag, judge->b + block->seal.off, 32) == 0) judge->evidence.seal = FS_CONFIRMED;
  }
  if (found != FS_OK) fs_fail(judge, FS_MAC_WRONG);
}
