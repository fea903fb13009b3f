/* Steps 11 and 12: what may run, verified again from the memory that will run; what may stay. */
#include "internal.h"

#define RUN 0u
#define STAGING 1u

uint32_t fs_security_floor(const fs_device *device) {
  return fs_get32(device->marks + FS_MARK_SECURITY_FLOOR, 4);
}

/* What a refusal of an earlier step is called at start-up. */
static fs_status as_stored(fs_status status) {
  switch (FS_STEP_OF(status)) {
    case 1:
      return FS_STORED_ENVELOPE_WRONG;
    case 2:
      return FS_STORED_SIGNER_WRONG;
    case 3:
      return FS_STORED_AUTHENTICATION_WRONG;
    case 4:
      return FS_STORED_MANIFEST_WRONG;
    case 6:
      return FS_STORED_IDENTITY_WRONG;
    case 7:
      return FS_STORED_START_FAILED;
    default:
      return status;
  }
}

/* The image in the slot is the one that was sealed, and that one is what the unit marked. Both are compared twice. */
static fs_status judge_content(fs_device *device, fs_span slot, const uint8_t *mark, fs_plan *plan) {
  uint8_t digest[32];
  volatile fs_status image;
  volatile fs_status marked;
  if (fs_digest_of_area(device, slot.offset, plan->image_size, digest) != FS_OK) return FS_STORED_IMAGE_WRONG;
  image = fs_same(digest, plan->image_digest, 32);
  if (image != FS_OK) return FS_STORED_IMAGE_WRONG;
  marked = fs_same(FS_MARK_DIGEST(mark), plan->manifest_digest, 32);
  if (marked != FS_OK || FS_MARK_NUMBER(mark) != plan->sequence_number) return FS_STORED_ENVELOPE_WRONG;
  plan->confirmed ^= (image ^ FS_OK) | (marked ^ FS_OK) | (fs_same(digest, plan->image_digest, 32) ^ FS_OK);
  return FS_OK;
}

fs_status fs_judge_slot(fs_device *device, uint32_t slot, const uint8_t *mark, uint32_t security_floor, fs_plan *plan) {
  const fs_map *map = &device->unit_class->map;
  fs_subject subject;
  fs_payload payload;
  uint32_t length = FS_MARK_LENGTH(mark);
  fs_status status;
  memset(plan, 0, sizeof *plan);
  if (length > map->envelopes[slot].size || length > device->work_size) return FS_STORED_ENVELOPE_WRONG;
  if (fs_read_flash(device, map->envelopes[slot].offset, device->work, length) != FS_OK)
    return FS_STORED_ENVELOPE_WRONG;
  memset(&subject, 0, sizeof subject);
  subject.unit = device->unit_class;
  subject.crypto = device->crypto;
  subject.envelope.bytes = device->work;
  subject.envelope.length = length;
  subject.stored = 1;
  subject.slot = (uint8_t)slot;
  subject.room = device->work_size;
  subject.security_floor = security_floor;
  status = fs_decide(&subject, plan, &payload);
  if (status != FS_OK) return as_stored(status);
  return judge_content(device, map->slots[slot], mark, plan);
}

static void pass_over(fs_started *started, uint32_t slot, fs_status why) {
  if (started->passed_count >= sizeof started->passed_slot) return;
  started->passed_slot[started->passed_count] = (uint8_t)slot;
  started->passed[started->passed_count++] = why;
}

/* Verifies a slot; one that fails is passed over. */
static uint32_t judge_into(fs_device *device, fs_started *started, uint32_t slot, const uint8_t *mark, fs_plan *plan) {
  fs_status status = fs_judge_slot(device, slot, mark, fs_security_floor(device), plan);
  if (status == FS_OK) return 1;
  pass_over(started, slot, status);
  return 0;
}

/* A slot that does not verify counts as empty from now on, so that no later start tries it. */
static void release(fs_device *device, uint32_t slot) {
  memset(FS_MARK(device->marks, slot), 0, FS_MARK_SLOT_SIZE);
  fs_put32(device->marks + FS_MARK_PROGRESS, 4, 0);
}

/* Invokes a verified slot; a ready image is on trial for good before that. */
static uint32_t invoke(fs_device *device, fs_started *started, uint32_t slot, const fs_plan *plan) {
  uint8_t *mark = FS_MARK(device->marks, slot);
  if (FS_MARK_STATE(mark) == FS_READY) {
    mark[0] = FS_ON_TRIAL;
    if (fs_write_marks(device) != FS_OK) {
      pass_over(started, slot, FS_MARK_NOT_WRITTEN);
      return 0;
    }
  }
  started->running = (int8_t)slot;
  started->on_trial = FS_MARK_STATE(mark) == FS_ON_TRIAL;
  started->sequence_number = plan->sequence_number;
  started->image_size = plan->image_size;
  memcpy(started->image_digest, plan->image_digest, 32);
  started->confirmed = plan->confirmed;
  return 1;
}

/* Slots that may be started: nothing runs from a staging area. */
static uint32_t startable(const fs_device *device, uint8_t order[2]) {
  uint32_t count = fs_candidates(device, order);
  if (device->unit_class->map.shape != FS_STAGED) return count;
  if (count > 0 && order[0] != RUN) order[0] = order[1];
  return FS_MARK_STATE(FS_MARK(device->marks, RUN)) >= FS_READY ? 1 : 0;
}

static uint32_t start_newest(fs_device *device, fs_started *started) {
  uint8_t order[2] = {0, 0};
  uint32_t count = startable(device, order);
  uint32_t i;
  for (i = 0; i < count; i++) {
    fs_plan plan;
    const uint8_t *mark = FS_MARK(device->marks, order[i]);
    if (judge_into(device, started, order[i], mark, &plan) && invoke(device, started, order[i], &plan)) return 1;
    if (FS_MARK_STATE(mark) != FS_READY) continue;
    release(device, order[i]);
    (void)fs_write_marks(device);
  }
  return 0;
}

/* Whether the recovery area holds the image that provisioning wrote, and nothing behind it: FS_OK. */
static fs_status recovery_holds(fs_device *device) {
  const fs_class *unit = device->unit_class;
  fs_span area = unit->map.recovery;
  uint8_t digest[32];
  if (unit->recovery_size == 0 || unit->recovery_size > area.size) return FS_PORT_FAILED;
  if (fs_digest_of_area(device, area.offset, unit->recovery_size, digest) != FS_OK) return FS_PORT_FAILED;
  if (!fs_flash_is(device, area.offset + unit->recovery_size, area.size - unit->recovery_size,
                   device->flash->erased_value))
    return FS_PORT_FAILED;
  return fs_same(digest, unit->recovery_digest, 32);
}

/* An image still on trial at a start was not kept: it falls back, unless nothing else could run. */
static uint32_t end_trial(fs_device *device, fs_started *started, uint32_t trial) {
  uint8_t order[2] = {0, 0};
  uint8_t *mark = FS_MARK(device->marks, trial);
  uint32_t count = startable(device, order);
  uint32_t other = FS_RECOVERY;
  uint32_t i;
  fs_plan plan;
  for (i = 0; i < count && other == FS_RECOVERY; i++)
    if (order[i] != trial && judge_into(device, started, order[i], FS_MARK(device->marks, order[i]), &plan))
      other = order[i];
  if (other == FS_RECOVERY && recovery_holds(device) != FS_OK)
    return judge_into(device, started, trial, mark, &plan) && invoke(device, started, trial, &plan);
  fs_remember_fallen(device, FS_MARK_DIGEST(mark), 1);
  memset(mark, 0, FS_MARK_SLOT_SIZE);
  (void)fs_write_marks(device);
  pass_over(started, trial, FS_TRIAL_RAN_OUT);
  return other != FS_RECOVERY && invoke(device, started, other, &plan);
}

/* Copies the staged image and its envelope into the running slot. */
static fs_status move(fs_device *device, const fs_plan *held, uint32_t from) {
  const fs_map *map = &device->unit_class->map;
  uint8_t *run = FS_MARK(device->marks, RUN);
  const uint8_t *staged = FS_MARK(device->marks, STAGING);
  uint32_t length = FS_MARK_LENGTH(staged);
  fs_status status = FS_OK;
  fs_fill fill;
  memset(&fill, 0, sizeof fill);
  fill.slot = map->slots[RUN];
  fill.size = held->image_size;
  fill.source = map->slots[STAGING].offset;
  if (from == 0) {
    fs_set_mark(run, FS_FILLING, FS_MARK_NUMBER(staged), FS_MARK_DIGEST(staged), 0);
    fs_put32(device->marks + FS_MARK_PROGRESS, 4, 0);
    status = fs_write_marks(device);
  }
  if (status == FS_OK) status = fs_fill_slot(device, &fill, from);
  if (status == FS_OK) status = fs_read_flash(device, map->envelopes[STAGING].offset, device->work, length);
  if (status == FS_OK) status = fs_replace_area(device, map->envelopes[RUN], device->work, length);
  return status;
}

/* Copies, and copies once more from the beginning where what an earlier start had copied has changed since. */
static uint32_t copy_verified(fs_device *device, fs_started *started, const fs_plan *held, fs_plan *moved) {
  const uint8_t *run = FS_MARK(device->marks, RUN);
  const uint8_t *staged = FS_MARK(device->marks, STAGING);
  uint32_t resumed = FS_MARK_STATE(run) == FS_FILLING && memcmp(FS_MARK_DIGEST(run), FS_MARK_DIGEST(staged), 32) == 0;
  uint32_t from = resumed ? fs_get32(device->marks + FS_MARK_PROGRESS, 4) : 0;
  for (;;) {
    if (move(device, held, from) != FS_OK) return 0;
    if (judge_into(device, started, RUN, staged, moved)) return 1;
    if (from == 0) return 0;
    from = 0;
  }
}

/*
 * One running slot and a staging area: moves a ready image into the running slot and verifies it there. Staging stays until
 * the moved image is on trial, in one mark.
 */
static uint32_t move_in(fs_device *device, fs_started *started, fs_plan *moved) {
  uint8_t *run = FS_MARK(device->marks, RUN);
  uint8_t *staged = FS_MARK(device->marks, STAGING);
  fs_plan held;
  if (FS_MARK_STATE(staged) != FS_READY) return 0;
  if (!judge_into(device, started, STAGING, staged, &held) || !copy_verified(device, started, &held, moved)) {
    if (FS_MARK_STATE(run) == FS_FILLING) release(device, RUN);
    release(device, STAGING);
    (void)fs_write_marks(device);
    return 0;
  }
  memcpy(run, staged, FS_MARK_SLOT_SIZE);
  run[0] = FS_ON_TRIAL;
  release(device, STAGING);
  return fs_write_marks(device) == FS_OK;
}

static uint32_t start_slots(fs_device *device, fs_started *started) {
  uint32_t slot;
  fs_plan plan;
  if (!device->marks_read) {
    for (slot = 0; slot < 2; slot++) pass_over(started, slot, FS_MARKS_UNREADABLE);
    return 0;
  }
  (void)fs_settle(device);
  for (slot = 0; slot < 2; slot++)
    if (FS_MARK_STATE(FS_MARK(device->marks, slot)) == FS_ON_TRIAL) return end_trial(device, started, slot);
  if (device->unit_class->map.shape == FS_STAGED && move_in(device, started, &plan))
    return invoke(device, started, RUN, &plan);
  return start_newest(device, started);
}

fs_status fs_start(fs_device *device, fs_started *started) {
  memset(started, 0, sizeof *started);
  started->running = FS_NO_SLOT;
  device->running = FS_NO_SLOT;
  if (!start_slots(device, started)) {
    volatile fs_status recovery = recovery_holds(device);
    if (recovery != FS_OK) return FS_NOTHING_TO_START;
    started->running = FS_RECOVERY;
    started->image_size = device->unit_class->recovery_size;
    memcpy(started->image_digest, device->unit_class->recovery_digest, 32);
    started->confirmed = FS_CONFIRMED ^ (recovery ^ FS_OK);
  }
  if (started->confirmed != FS_CONFIRMED) {
    started->running = FS_NO_SLOT;
    return FS_NOTHING_TO_START;
  }
  device->running = started->running;
  return FS_OK;
}

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
  fs_plan plan;
  if (!device->marks_read || (device->running != 0 && device->running != 1) || FS_MARK_STATE(mark) < FS_ON_TRIAL)
    return FS_NOTHING_ON_TRIAL;
  if (fs_judge_slot(device, (uint32_t)device->running, mark, fs_security_floor(device), &plan) != FS_OK ||
      plan.confirmed != FS_CONFIRMED)
    return FS_FLOOR_WOULD_STRAND;
  if (FS_MARK_STATE(mark) == FS_KEPT) return FS_OK;
  mark[0] = FS_KEPT;
  (void)raise(device, FS_MARK_SEQUENCE_FLOOR, 8, plan.sequence_number);
  (void)raise(device, FS_MARK_SECURITY_FLOOR, 4, plan.security_version);
  fs_remember_fallen(device, plan.manifest_digest, 0);
  return commit(device);
}

fs_status fs_raise_floors(fs_device *device, const fs_floors *floors) {
  uint8_t order[2];
  uint32_t count;
  uint32_t left = 0;
  uint32_t i;
  uint32_t changed;
  uint32_t security = floors->security_version;
  fs_plan plan;
  if (!device->marks_read) return FS_FLOOR_WOULD_STRAND;
  if (security < fs_security_floor(device)) security = fs_security_floor(device);
  changed = floors->sequence_number > fs_get(device->marks + FS_MARK_SEQUENCE_FLOOR, 8) ||
            security > fs_security_floor(device) ||
            floors->signer_generation > fs_get(device->marks + FS_MARK_GENERATION_FLOOR, 4);
  if (!changed) return FS_OK;
  count = fs_candidates(device, order);
  for (i = 0; i < count && !left; i++)
    left = fs_judge_slot(device, order[i], FS_MARK(device->marks, order[i]), security, &plan) == FS_OK;
  if (!left) return FS_FLOOR_WOULD_STRAND;
  (void)raise(device, FS_MARK_SEQUENCE_FLOOR, 8, floors->sequence_number);
  (void)raise(device, FS_MARK_SECURITY_FLOOR, 4, security);
  (void)raise(device, FS_MARK_GENERATION_FLOOR, 4, floors->signer_generation);
  return commit(device);
}
