/* Whether the signer at the end of a good path may seal for the unit (docs/deployment-profile.md section 2). */
#include "internal.h"
#include "published-keys.h"

/* Neither denied, where `kind` is 0, nor published (1), nor for trial on a unit that is not (2). */
void fs_judge_key(fs_judge *judge, const fs_certificate *certificate, uint32_t kind) {
  const fs_class *unit = judge->unit;
  uint8_t digest[32];
  fs_bytes part;
  uint32_t i;
  if (kind == 2) {
    fs_refuse_unless(judge, unit->trial || !certificate->trial, FS_SIGNER_IS_FOR_TRIAL);
    return;
  }
  part.bytes = judge->b + certificate->spki.off;
  part.length = certificate->spki.end - certificate->spki.off;
  if (fs_hash(judge->crypto, &part, 1, digest) != FS_OK) fs_fail(judge, FS_SIGNER_DENIED);
  for (i = 0; kind == 0 && !judge->stored && i < unit->denied_count; i++) {
    fs_refuse_unless(judge, memcmp(unit->denied[i], digest, 32) != 0, FS_SIGNER_DENIED);
    judge->evidence.cleared += fs_differs(unit->denied[i], digest, 32) != 0;
  }
  for (i = 0; kind == 1 && i < FS_PUBLISHED_KEYS; i++)
    fs_refuse_unless(judge, memcmp(fs_published_keys[i], digest, sizeof fs_published_keys[i]) != 0,
                     FS_SIGNER_KEY_PUBLISHED);
}

/* Whether a URI is `urn:uuid:` and an identifier, whatever the case of its letters (RFC 9562 section 4). */
static uint32_t is_scope(const fs_judge *judge, fs_cur uri, const uint8_t id[16]) {
  static const uint8_t PREFIX[] = {'u', 'r', 'n', ':', 'u', 'u', 'i', 'd', ':'};
  uint32_t digit = 0;
  uint32_t i;
  if (uri.end - uri.off != 45) return 0;
  for (i = 0; i < 45; i++) {
    uint32_t c = fs_byte(judge, uri.off + i);
    uint32_t wanted;
    if (c >= 'A' && c <= 'Z') c += 'a' - 'A';
    if (i < sizeof PREFIX)
      wanted = PREFIX[i];
    else if (i == 17 || i == 22 || i == 27 || i == 32)
      wanted = '-';
    else {
      uint32_t nibble = (digit & 1) != 0 ? id[digit / 2] & 15u : id[digit / 2] >> 4;
      wanted = nibble < 10 ? '0' + nibble : 'a' - 10 + nibble;
      digit++;
    }
    if (c != wanted) return 0;
  }
  return 1;
}

/* Place of the name that covers the unit; 0 where none does. */
static uint32_t scope_of(fs_judge *judge, fs_cur names) {
  const fs_class *unit = judge->unit;
  while (names.off < names.end && FS_GOOD(judge)) {
    uint32_t tag = fs_der_next(judge, names);
    fs_cur name = fs_der(judge, &names, tag);
    uint32_t i;
    if (tag != 0x86) continue;
    if (is_scope(judge, name, unit->vendor_id)) return name.off;
    for (i = 0; i < unit->class_id_count; i++)
      if (is_scope(judge, name, unit->class_ids[i])) return name.off;
  }
  return 0;
}

/* Purpose, scope, generation of the signer (docs/deployment-profile.md section 2). */
void fs_judge_rights(fs_judge *judge, const fs_certificate *signer, uint32_t least) {
  uint32_t usage = signer->key_usage & (FS_USAGE_SIGNATURE | FS_USAGE_CERTIFICATES | FS_USAGE_CRLS);
  uint32_t purposes = signer->purposes & FS_OUR_PURPOSES;
  fs_refuse_unless(judge, signer->key != FS_KEY_OTHER, FS_SIGNER_CHAIN_MALFORMED);
  fs_refuse_unless(judge, !signer->is_authority && usage == FS_USAGE_SIGNATURE && purposes == FS_PURPOSE_RELEASE,
                   FS_SIGNER_PURPOSE_WRONG);
  judge->evidence.scope_at = scope_of(judge, signer->names);
  judge->evidence.generation = signer->generation;
  fs_refuse_unless(judge, judge->evidence.scope_at != 0, FS_SIGNER_NOT_FOR_THIS_CLASS);
  fs_refuse_unless(judge, judge->stored || signer->generation >= least, FS_SIGNER_GENERATION_TOO_LOW);
}
