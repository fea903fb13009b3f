/* Step 12: what may stay, and floors that rise. */
#include "life.h"

/* Written twice: a damaged record then takes no floor down with it. The first one is what counts. */
static fs_status commit(fs_device *device) {
  if (fs_write_marks(device) != FS_OK || fs_write_marks(device) != FS_OK) return FS_FLOOR_WOULD_STRAND;
  return FS_OK;
}

/* Raises a floor in the marks; gives whether it was below. */
static uint32_t raise(fs_device *device, uint32_t place, uint32_t width, uint64_t value) {
  if (fs_get(device->marks + place, width) >= value) return 0;
  fs_put(device->marks + place, width, value);
  return 1;
}

fs_status fs_keep(fs_device *device) {
  uint8_t *mark = FS_MARK(device->marks, device->running == 1 ? 1 : 0);
  fs_facts facts;
  if (!device->marks_read || (device->running != 0 && device->running != 1) || FS_MARK_STATE(mark) < FS_ON_TRIAL)
    return FS_NOTHING_ON_TRIAL;
  if (fs_judge_slot(device, (uint32_t)device->running, mark, fs_security_floor(device), &facts) != FS_OK ||
      facts.confirmed != FS_CONFIRMED)
    return FS_FLOOR_WOULD_STRAND;
  if (FS_MARK_STATE(mark) == FS_KEPT) return FS_OK;
  mark[0] = FS_KEPT;
  (void)raise(device, FS_MARK_SEQUENCE_FLOOR, 8, facts.sequence_number);
  (void)raise(device, FS_MARK_SECURITY_FLOOR, 4, facts.security_version);
  fs_remember_fallen(device, FS_MARK_DIGEST(mark), 0);
  return commit(device);
}

fs_status fs_raise_floors(fs_device *device, const fs_floors *floors) {
  uint8_t order[2];
  uint32_t count;
  uint32_t left = 0;
  uint32_t i;
  uint32_t changed;
  uint32_t security = floors->security_version;
  fs_facts facts;
  if (!device->marks_read) return FS_FLOOR_WOULD_STRAND;
  if (security < fs_security_floor(device)) security = fs_security_floor(device);
  changed = floors->sequence_number > fs_get(device->marks + FS_MARK_SEQUENCE_FLOOR, 8) ||
            security > fs_security_floor(device) ||
            floors->signer_generation > fs_get(device->marks + FS_MARK_GENERATION_FLOOR, 4);
  if (!changed) return FS_OK;
  count = fs_candidates(device, order);
  for (i = 0; i < count && !left; i++)
    left = fs_judge_slot(device, order[i], FS_MARK(device->marks, order[i]), security, &facts) == FS_OK;
  if (!left) return FS_FLOOR_WOULD_STRAND;
  (void)raise(device, FS_MARK_SEQUENCE_FLOOR, 8, floors->sequence_number);
  (void)raise(device, FS_MARK_SECURITY_FLOOR, 4, security);
  (void)raise(device, FS_MARK_GENERATION_FLOOR, 4, floors->signer_generation);
  return commit(device);
}
