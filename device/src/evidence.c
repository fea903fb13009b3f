/*
 * The second look at a decision. It goes by what the steps left behind and not by what they said, with comparisons of its own, so
 * that whatever one skipped instruction lets through in the one it does not let through in the other.
 */
#include "life.h"

/* 0 where the bytes are the same. */
uint32_t fs_differs(const uint8_t *a, const uint8_t *b, uint32_t length) {
  uint32_t sum = 0;
  while (length-- > 0) {
    uint32_t difference = (uint32_t)a[length] - b[length];
    sum += difference * difference;
  }
  return sum;
}

/* 0 where an identifier is one of the class. */
static uint32_t class_differs(const fs_class *unit, const uint8_t id[16]) {
  uint32_t i;
  for (i = 0; i < unit->class_id_count; i++)
    if (fs_differs(unit->class_ids[i], id, 16) == 0) return 0;
  return 1;
}

/* 0 where the signer's URI has an identifier that covers the unit. */
static uint32_t scope_differs(const fs_judge *judge) {
  const uint8_t *text = judge->b + judge->evidence.scope_at + 9;
  uint8_t id[16];
  uint32_t digits = 0;
  if (judge->evidence.scope_at == 0) return 1;
  memset(id, 0, sizeof id);
  while (digits < 32) {
    uint32_t c = *text++;
    if (c == '-') continue;
    c = c >= 'A' ? (c | 0x20) - 'a' + 10 : c - '0';
    id[digits / 2] = (uint8_t)(id[digits / 2] << 4 | (c & 15));
    digits++;
  }
  return fs_differs(id, judge->unit->vendor_id, 16) != 0 && class_differs(judge->unit, id);
}

static uint32_t signer_differs(const fs_judge *judge) {
  const fs_evidence *left = &judge->evidence;
  const fs_class *unit = judge->unit;
  uint32_t differs = left->links - left->path_length * FS_CONFIRMED;
  differs |= left->path_length == 0;
  differs |= scope_differs(judge);
  differs |= left->trial && !unit->trial;
  if (judge->stored) return differs;
  differs |= left->generation < judge->least_generation;
  return differs | (left->cleared - left->path_length * unit->denied_count);
}

/* 0 where nothing on board is newer. */
static uint32_t number_differs(const fs_judge *judge, const uint8_t *marks) {
  uint32_t differs = judge->sequence_number < fs_get(marks + FS_MARK_SEQUENCE_FLOOR, 8);
  uint32_t slot;
  for (slot = 0; slot < 2; slot++) {
    const uint8_t *mark = FS_MARK(marks, slot);
    if (FS_MARK_STATE(mark) >= FS_READY) differs |= judge->sequence_number < FS_MARK_NUMBER(mark);
  }
  return differs | (judge->security_version < fs_get32(marks + FS_MARK_SECURITY_FLOOR, 4));
}

uint32_t fs_look_again(const fs_judge *judge) {
  const fs_evidence *left = &judge->evidence;
  uint32_t differs = (left->digest ^ FS_CONFIRMED) | (left->seal ^ FS_CONFIRMED);
  if (left->vendor_at == 0 || left->class_at == 0) return 1;
  differs |= fs_differs(judge->b + left->vendor_at, judge->unit->vendor_id, 16);
  differs |= class_differs(judge->unit, judge->b + left->class_at);
  if (judge->unit->algorithm != FS_HMAC_256) differs |= signer_differs(judge);
  if (judge->stored) return differs | (judge->security_version < judge->security_floor);
  return judge->marks == 0 ? 1 : differs | number_differs(judge, judge->marks);
}
