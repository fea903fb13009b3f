/* A unit under power: opened, asked, offered something. */
#include "life.h"

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
static FS_APART int8_t protected_slot(fs_device *device) {
  uint8_t order[2];
  uint32_t count;
  uint32_t kept[2];
  fs_facts facts;
  if (!device->marks_read) return FS_NO_SLOT;
  if (device->unit_class->map.shape == FS_STAGED) return 0;
  if (device->running == 0 || device->running == 1) return device->running;
  count = fs_candidates(device, order);
  if (count == 0) return FS_NO_SLOT;
  kept[0] = FS_MARK_STATE(FS_MARK(device->marks, order[0])) == FS_KEPT;
  kept[1] = count == 2 && FS_MARK_STATE(FS_MARK(device->marks, order[1])) == FS_KEPT;
  if (kept[0] && kept[1] && fs_judge_slot(device, order[0], FS_MARK(device->marks, order[0]),
                                          fs_security_floor(device), &facts) != FS_OK &&
      fs_judge_slot(device, order[1], FS_MARK(device->marks, order[1]), fs_security_floor(device), &facts) == FS_OK)
    return (int8_t)order[1];
  return (int8_t)(!kept[0] && kept[1] ? order[1] : order[0]);
}

FS_APART fs_status fs_decide_for(const fs_device *device, int8_t running, uint8_t *keep_into, const fs_offer *offer,
                                 fs_plan *plan, fs_payload *payload) {
  fs_view view;
  view.unit = device->unit_class;
  view.crypto = device->crypto;
  view.marks = device->marks_read ? device->marks : 0;
  view.keep_into = keep_into;
  view.room = device->work_size;
  view.running = running;
  return fs_decide_offer(&view, offer, plan, payload);
}

static FS_APART fs_status check(const fs_device *device, int8_t running, const fs_offer *offer, fs_plan *plan) {
  fs_payload payload;
  fs_status status = fs_decide_for(device, running, 0, offer, plan, &payload);
  return status == FS_OK ? fs_judge_offered(&payload, plan) : status;
}

fs_status fs_check(fs_device *device, const fs_offer *offer, fs_plan *plan) {
  fs_status status = check(device, protected_slot(device), offer, plan);
  if (status != FS_OK) plan->confirmed = 0;
  return status;
}

fs_status fs_install(fs_device *device, const fs_offer *offer, fs_plan *plan) {
  fs_status status = fs_carry_out(device, protected_slot(device), offer, plan);
  if (status != FS_OK) plan->confirmed = 0;
  return status;
}
