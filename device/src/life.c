/* A unit under power: opened, asked, filled (steps 8 to 10). */
#include "internal.h"

static uint32_t is_area(const fs_device *device, fs_span area) {
  uint32_t page = device->flash->erase_page;
  return area.offset % page == 0 && area.size % page == 0 && area.offset <= device->flash->size &&
         area.size <= device->flash->size - area.offset;
}

static uint32_t is_sound(const fs_device *device) {
  const fs_flash *flash = device->flash;
  const fs_map *map;
  if (device->unit_class == 0 || device->crypto == 0 || flash == 0 || device->work == 0) return 0;
  map = &device->unit_class->map;
  if (flash->write_unit == 0 || FS_PIECE % flash->write_unit != 0) return 0;
  if (flash->erase_page == 0 || flash->erase_page % flash->write_unit != 0) return 0;
  if (!is_area(device, map->slots[0]) || !is_area(device, map->slots[1]) || !is_area(device, map->state)) return 0;
  if (!is_area(device, map->envelopes[0]) || !is_area(device, map->envelopes[1]) || !is_area(device, map->recovery))
    return 0;
  return device->work_size >= FS_WORK_MIN && fs_records_in_bank(device) >= 3;
}

fs_status fs_open(fs_device *device) {
  if (device == 0 || !is_sound(device)) return FS_MISUSE;
  device->running = FS_NO_SLOT;
  fs_read_marks(device);
  return FS_OK;
}

fs_status fs_begin_life(fs_device *device) {
  const fs_floors *floors = &device->unit_class->floors;
  uint8_t *marks = device->marks;
  uint32_t twice;
  if (device->marks_read) return FS_MISUSE;
  for (twice = 0; twice < 2; twice++) {
    memset(marks, 0, sizeof device->marks);
    memcpy(marks, "FSMK", 4);
    marks[4] = device->unit_class->map.has_policy ? 2 : 1;
    marks[5] = 2;
    fs_put(marks + FS_MARK_SEQUENCE_FLOOR, 8, floors->sequence_number);
    fs_put32(marks + FS_MARK_SECURITY_FLOOR, 4, floors->security_version);
    fs_put32(marks + FS_MARK_GENERATION_FLOOR, 4, floors->signer_generation);
    if (fs_write_marks(device) != FS_OK) return FS_MARK_NOT_WRITTEN;
  }
  return FS_OK;
}

/* Slots whose marks say that they hold a whole image, highest sequence number first; gives how many. */
uint32_t fs_candidates(const fs_device *device, uint8_t order[2]) {
  const uint8_t *first = FS_MARK(device->marks, 0);
  const uint8_t *second = FS_MARK(device->marks, 1);
  uint32_t count = 0;
  uint32_t turned = FS_MARK_NUMBER(second) > FS_MARK_NUMBER(first);
  uint32_t i;
  for (i = 0; i < 2; i++) {
    uint8_t slot = (uint8_t)(i ^ turned);
    if (FS_MARK_STATE(FS_MARK(device->marks, slot)) >= FS_READY) order[count++] = slot;
  }
  return count;
}

/*
 * The slot that nothing may be written to: the running one, or else the newest kept one that still verifies, or else the one
 * that would start. FS_NO_SLOT where every slot may be filled.
 */
static int8_t protected_slot(fs_device *device, fs_plan *scratch) {
  uint8_t order[2];
  uint32_t count;
  uint32_t kept[2];
  if (!device->marks_read) return FS_NO_SLOT;
  if (device->unit_class->map.shape == FS_STAGED) return 0;
  if (device->running == 0 || device->running == 1) return device->running;
  count = fs_candidates(device, order);
  if (count == 0) return FS_NO_SLOT;
  kept[0] = FS_MARK_STATE(FS_MARK(device->marks, order[0])) == FS_KEPT;
  kept[1] = count == 2 && FS_MARK_STATE(FS_MARK(device->marks, order[1])) == FS_KEPT;
  if (kept[0] && kept[1] && fs_judge_slot(device, order[0], FS_MARK(device->marks, order[0]),
                                          fs_security_floor(device), scratch) != FS_OK &&
      fs_judge_slot(device, order[1], FS_MARK(device->marks, order[1]), fs_security_floor(device), scratch) == FS_OK)
    return (int8_t)order[1];
  return (int8_t)(!kept[0] && kept[1] ? order[1] : order[0]);
}

static void subject_of(fs_device *device, const fs_offer *offer, fs_subject *subject, fs_plan *scratch) {
  int8_t running = protected_slot(device, scratch);
  fs_subject_of(device->unit_class, device->crypto, offer, subject);
  subject->view.marks = device->marks_read ? device->marks : 0;
  subject->view.running = running;
  subject->room = device->work_size;
}

fs_status fs_check(fs_device *device, const fs_offer *offer, fs_plan *plan) {
  fs_subject subject;
  fs_payload payload;
  fs_status status;
  subject_of(device, offer, &subject, plan);
  status = fs_decide(&subject, plan, &payload);
  if (status == FS_OK) status = fs_judge_offered(device->crypto, &payload, offer, plan);
  if (status != FS_OK) plan->confirmed = 0;
  return status;
}

#define LARGEST_TRIES 255u

/* What fell back is remembered, latest first (src/unit/life-board.ts). */
void fs_remember_fallen(fs_device *device, const uint8_t digest[32], uint32_t again) {
  uint8_t *list = device->marks + FS_MARK_FALLEN;
  uint8_t head[FS_MARK_FALLEN_SIZE];
  uint32_t place = FS_MARK_FALLEN_COUNT - 1;
  uint32_t i;
  memcpy(head, digest, 32);
  head[32] = 0;
  for (i = 0; i < FS_MARK_FALLEN_COUNT; i++) {
    const uint8_t *one = list + i * FS_MARK_FALLEN_SIZE;
    if (one[32] == 0 || memcmp(one, digest, 32) != 0) continue;
    place = i;
    head[32] = one[32];
    break;
  }
  if (again) {
    if (head[32] < LARGEST_TRIES) head[32]++;
    memmove(list + FS_MARK_FALLEN_SIZE, list, place * FS_MARK_FALLEN_SIZE);
    memcpy(list, head, FS_MARK_FALLEN_SIZE);
  } else if (head[32] != 0) {
    uint32_t behind = (FS_MARK_FALLEN_COUNT - 1 - place) * FS_MARK_FALLEN_SIZE;
    memmove(list + place * FS_MARK_FALLEN_SIZE, list + (place + 1) * FS_MARK_FALLEN_SIZE, behind);
    memset(list + (FS_MARK_FALLEN_COUNT - 1) * FS_MARK_FALLEN_SIZE, 0, FS_MARK_FALLEN_SIZE);
  }
}

/* Where even this mark cannot be written the slot stays as filling, which never starts either. */
static void release(fs_device *device, uint32_t slot, uint32_t decrypted, const uint8_t digest[32]) {
  /* What was decrypted on the way and came to nothing cost an erase of the slot, and must not do so without end. */
  if (decrypted) fs_remember_fallen(device, digest, 1);
  memset(FS_MARK(device->marks, slot), 0, FS_MARK_SLOT_SIZE);
  fs_put32(device->marks + FS_MARK_PROGRESS, 4, 0);
  (void)fs_write_marks(device);
}

void fs_set_mark(uint8_t *mark, uint8_t state, uint64_t number, const uint8_t digest[32], uint32_t length) {
  mark[0] = state;
  fs_put(mark + 1, 8, number);
  memcpy(FS_MARK_DIGEST(mark), digest, 32);
  fs_put32(mark + 41, 4, length);
}

/* Step 8: fills the slot, from the last checkpoint where the same release was begun there before. */
static fs_status bring_in(fs_device *device, const fs_fill *fill, const fs_plan *plan, uint32_t kept) {
  uint8_t *mark = FS_MARK(device->marks, plan->slot);
  uint32_t same = FS_MARK_STATE(mark) == FS_FILLING && FS_MARK_NUMBER(mark) == plan->sequence_number &&
                  memcmp(FS_MARK_DIGEST(mark), plan->manifest_digest, 32) == 0;
  uint32_t from = same ? fs_get32(device->marks + FS_MARK_PROGRESS, 4) : 0;
  fs_status status = FS_OK;
  if (!same) {
    fs_set_mark(mark, FS_FILLING, plan->sequence_number, plan->manifest_digest, 0);
    fs_put32(device->marks + FS_MARK_PROGRESS, 4, 0);
    status = fs_write_marks(device);
  }
  if (status == FS_OK) status = fs_fill_slot(device, fill, from);
  if (status == FS_OK)
    status = fs_replace_area(device, device->unit_class->map.envelopes[plan->slot], device->work, kept);
  return status == FS_OK ? FS_OK : FS_FLASH_FAILED;
}

/* Step 9: reads the slot back. Behind image and kept envelope there must be nothing that was not sealed. */
static fs_status judge_filled(fs_device *device, fs_plan *plan, uint32_t kept) {
  const fs_map *map = &device->unit_class->map;
  fs_span slot = map->slots[plan->slot];
  uint8_t digest[32];
  uint32_t clean;
  if (fs_digest_of_area(device, slot.offset, plan->image_size, digest) != FS_OK) return FS_IMAGE_DIGEST_WRONG;
  plan->confirmed ^= fs_differs(digest, plan->image_digest, 32);
  if (fs_same(digest, plan->image_digest, 32) != FS_OK) return FS_IMAGE_DIGEST_WRONG;
  clean = fs_flash_is(device, slot.offset + plan->image_size, slot.size - plan->image_size,
                      device->flash->erased_value) &&
          fs_area_holds(device, map->envelopes[plan->slot], device->work, kept);
  return clean ? FS_OK : FS_IMAGE_LENGTH_WRONG;
}

/* Fills and reads back; a slot with another image than the one announced counts as empty from then on. */
static fs_status bring_and_judge(fs_device *device, const fs_offer *offer, const fs_payload *payload,
                                 fs_plan *plan) {
  fs_fill fill;
  fs_status status;
  memset(&fill, 0, sizeof fill);
  fill.slot = device->unit_class->map.slots[plan->slot];
  fill.size = plan->image_size;
  fill.payload = payload;
  fill.offer = offer;
  status = bring_in(device, &fill, plan, payload->kept);
  if (status != FS_OK) return status;
  status = judge_filled(device, plan, payload->kept);
  if (status != FS_OK) release(device, plan->slot, payload->cipher.iv != 0, plan->manifest_digest);
  return status;
}

static fs_status bring_decrypted(fs_device *device, const fs_offer *offer, fs_payload *payload, fs_plan *plan) {
  fs_ctr state;
  fs_status status = fs_judge_ciphertext(device->crypto, payload, offer, plan);
  if (status == FS_OK) status = fs_begin_decryption(device->crypto, payload, &state);
  if (status == FS_OK) status = bring_and_judge(device, offer, payload, plan);
  fs_end_decryption(payload);
  return status;
}

/* Steps 8 to 10 for an image at hand. */
static fs_status carry_out(fs_device *device, const fs_offer *offer, fs_payload *payload, fs_plan *plan) {
  fs_status status;
  if (plan->confirmed != FS_CONFIRMED) return FS_SIGNATURE_WRONG;
  if (payload->cipher.iv != 0)
    status = bring_decrypted(device, offer, payload, plan);
  else if (fs_payload_size(payload, offer) != plan->image_size)
    status = FS_IMAGE_LENGTH_WRONG;
  else
    status = bring_and_judge(device, offer, payload, plan);
  if (status != FS_OK) return status;
  fs_set_mark(FS_MARK(device->marks, plan->slot), FS_READY, plan->sequence_number, plan->manifest_digest,
              payload->kept);
  fs_put32(device->marks + FS_MARK_PROGRESS, 4, 0);
  return fs_write_marks(device) == FS_OK ? FS_OK : FS_MARK_NOT_WRITTEN;
}

fs_status fs_install(fs_device *device, const fs_offer *offer, fs_plan *plan) {
  fs_subject subject;
  fs_payload payload;
  fs_status status;
  subject_of(device, offer, &subject, plan);
  subject.keep_into = device->work;
  status = fs_decide(&subject, plan, &payload);
  if (status != FS_OK) {
    plan->confirmed = 0;
    return status;
  }
  if (fs_settle(device) != FS_OK)
    status = FS_FLASH_FAILED;
  else if (plan->effect == FS_ALREADY_THERE || payload.from == FS_FROM_NOTHING)
    status = fs_judge_offered(device->crypto, &payload, offer, plan);
  else
    status = carry_out(device, offer, &payload, plan);
  if (status != FS_OK) plan->confirmed = 0;
  return status;
}
