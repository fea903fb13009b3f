/* Steps 8 to 10 for an accepted offer: the slot is filled, read back, and marked ready. */
#include "life.h"

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
static FS_APART void release(fs_device *device, uint32_t slot, uint32_t decrypted, const uint8_t digest[32]) {
  /* What was decrypted on the way and came to nothing cost an erase of the slot, and must not do so without end. */
  if (decrypted) fs_remember_fallen(device, digest, 1);
  fs_empty_slot(device, slot);
  (void)fs_write_marks(device);
}

void fs_set_mark(uint8_t *mark, uint8_t state, uint64_t number, const uint8_t digest[32], uint32_t length) {
  mark[0] = state;
  fs_put(mark + 1, 8, number);
  memcpy(FS_MARK_DIGEST(mark), digest, 32);
  fs_put32(mark + 41, 4, length);
}

fs_status fs_begin_filling(fs_device *device, uint8_t *mark, uint64_t number, const uint8_t digest[32]) {
  fs_set_mark(mark, FS_FILLING, number, digest, 0);
  fs_put32(device->marks + FS_MARK_PROGRESS, 4, 0);
  return fs_write_marks(device);
}

/* Step 8: fills the slot, from the last checkpoint where the same release was begun there before. */
static FS_APART fs_status bring_in(fs_device *device, const fs_fill *fill, const fs_plan *plan, uint32_t kept) {
  uint8_t *mark = FS_MARK(device->marks, plan->slot);
  uint32_t same = FS_MARK_STATE(mark) == FS_FILLING && FS_MARK_NUMBER(mark) == plan->sequence_number &&
                  memcmp(FS_MARK_DIGEST(mark), plan->manifest_digest, 32) == 0;
  uint32_t from = same ? fs_get32(device->marks + FS_MARK_PROGRESS, 4) : 0;
  fs_status status = FS_OK;
  if (!same) status = fs_begin_filling(device, mark, plan->sequence_number, plan->manifest_digest);
  if (status == FS_OK) status = fs_fill_slot(device, fill, from);
  if (status == FS_OK)
    status = fs_replace_area(device, device->unit_class->map.envelopes[plan->slot], device->work, kept);
  return status == FS_OK ? FS_OK : FS_FLASH_FAILED;
}

/* Step 9: reads the slot back. Behind image and kept envelope there must be nothing that was not sealed. */
static FS_APART fs_status judge_filled(fs_device *device, fs_plan *plan, uint32_t kept) {
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
static fs_status bring_and_judge(fs_device *device, const fs_payload *payload, fs_plan *plan) {
  fs_fill fill;
  fs_status status;
  memset(&fill, 0, sizeof fill);
  fill.slot = device->unit_class->map.slots[plan->slot];
  fill.size = plan->image_size;
  fill.payload = payload;
  status = bring_in(device, &fill, plan, payload->kept);
  if (status != FS_OK) return status;
  status = judge_filled(device, plan, payload->kept);
  if (status != FS_OK) release(device, plan->slot, payload->cipher.iv != 0, plan->manifest_digest);
  return status;
}

static FS_APART fs_status bring_decrypted(fs_device *device, fs_payload *payload, fs_plan *plan) {
  fs_ctr state;
  fs_status status = fs_judge_ciphertext(payload, plan);
  if (status == FS_OK) status = fs_begin_decryption(payload, &state);
  if (status == FS_OK) status = bring_and_judge(device, payload, plan);
  fs_end_decryption(payload);
  return status;
}

/* Steps 8 to 10 for an image at hand. */
static fs_status install(fs_device *device, fs_payload *payload, fs_plan *plan) {
  fs_status status;
  if (plan->confirmed != FS_CONFIRMED) return FS_SIGNATURE_WRONG;
  if (payload->cipher.iv != 0)
    status = bring_decrypted(device, payload, plan);
  else if (fs_payload_size(payload) != plan->image_size)
    status = FS_IMAGE_LENGTH_WRONG;
  else
    status = bring_and_judge(device, payload, plan);
  if (status != FS_OK) return status;
  fs_set_mark(FS_MARK(device->marks, plan->slot), FS_READY, plan->sequence_number, plan->manifest_digest,
              payload->kept);
  fs_put32(device->marks + FS_MARK_PROGRESS, 4, 0);
  return fs_write_marks(device) == FS_OK ? FS_OK : FS_MARK_NOT_WRITTEN;
}

FS_APART fs_status fs_carry_out(fs_device *device, int8_t running, const fs_offer *offer, fs_plan *plan) {
  fs_payload payload;
  fs_status status = fs_decide_for(device, running, device->work, offer, plan, &payload);
  if (status != FS_OK) return status;
  if (fs_settle(device) != FS_OK) return FS_FLASH_FAILED;
  if (plan->effect == FS_ALREADY_THERE || payload.from == FS_FROM_NOTHING)
    return fs_judge_offered(&payload, plan);
  return install(device, &payload, plan);
}
