/* One running slot and a staging area: the boot code moves what waits there (src/unit/start-staged.ts). */
#include "life.h"

/* Copies the staged image and its envelope into the running slot. */
static FS_APART fs_status move(fs_device *device, uint32_t size, uint32_t from) {
  const fs_map *map = &device->unit_class->map;
  uint8_t *run = FS_MARK(device->marks, FS_RUN_SLOT);
  const uint8_t *staged = FS_MARK(device->marks, FS_STAGING_SLOT);
  uint32_t length = FS_MARK_LENGTH(staged);
  fs_status status = FS_OK;
  fs_fill fill;
  memset(&fill, 0, sizeof fill);
  fill.slot = map->slots[FS_RUN_SLOT];
  fill.size = size;
  fill.source = map->slots[FS_STAGING_SLOT].offset;
  if (from == 0) status = fs_begin_filling(device, run, FS_MARK_NUMBER(staged), FS_MARK_DIGEST(staged));
  if (status == FS_OK) status = fs_fill_slot(device, &fill, from);
  if (status == FS_OK) status = fs_read_flash(device, map->envelopes[FS_STAGING_SLOT].offset, device->work, length);
  if (status == FS_OK) status = fs_replace_area(device, map->envelopes[FS_RUN_SLOT], device->work, length);
  return status;
}

/*
 * Copies the image of `facts`, and copies once more from the beginning where what an earlier start had copied has changed
 * since. `facts` is the verdict on what was copied then.
 */
static uint32_t copy_verified(fs_device *device, fs_started *started, fs_facts *facts) {
  const uint8_t *run = FS_MARK(device->marks, FS_RUN_SLOT);
  const uint8_t *staged = FS_MARK(device->marks, FS_STAGING_SLOT);
  uint32_t resumed = FS_MARK_STATE(run) == FS_FILLING && memcmp(FS_MARK_DIGEST(run), FS_MARK_DIGEST(staged), 32) == 0;
  uint32_t size = facts->image_size;
  uint32_t from = resumed ? fs_get32(device->marks + FS_MARK_PROGRESS, 4) : 0;
  for (;;) {
    if (move(device, size, from) != FS_OK) return 0;
    if (fs_judge_into(device, started, FS_RUN_SLOT, staged, facts)) return 1;
    if (from == 0) return 0;
    from = 0;
  }
}

/*
 * One running slot and a staging area: moves a ready image into the running slot and verifies it there. Staging stays until
 * the moved image is on trial, in one mark.
 */
uint32_t fs_move_in(fs_device *device, fs_started *started, fs_facts *facts) {
  uint8_t *run = FS_MARK(device->marks, FS_RUN_SLOT);
  uint8_t *staged = FS_MARK(device->marks, FS_STAGING_SLOT);
  if (FS_MARK_STATE(staged) != FS_READY) return 0;
  if (!fs_judge_into(device, started, FS_STAGING_SLOT, staged, facts) || !copy_verified(device, started, facts)) {
    if (FS_MARK_STATE(run) == FS_FILLING) fs_empty_slot(device, FS_RUN_SLOT);
    fs_empty_slot(device, FS_STAGING_SLOT);
    (void)fs_write_marks(device);
    return 0;
  }
  memcpy(run, staged, FS_MARK_SLOT_SIZE);
  run[0] = FS_ON_TRIAL;
  fs_empty_slot(device, FS_STAGING_SLOT);
  return fs_write_marks(device) == FS_OK;
}
