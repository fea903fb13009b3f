/* Step 11: what may run, verified again from the memory that will run. */
#include "life.h"

uint32_t fs_security_floor(const fs_device *device) {
  return fs_get32(device->marks + FS_MARK_SECURITY_FLOOR, 4);
}

/* What a refusal of an earlier step is called at start-up. */
static fs_status as_stored(fs_status status) {
  static const uint16_t STORED[] = {0,
                                    FS_STORED_ENVELOPE_WRONG,
                                    FS_STORED_SIGNER_WRONG,
                                    FS_STORED_AUTHENTICATION_WRONG,
                                    FS_STORED_MANIFEST_WRONG,
                                    0,
                                    FS_STORED_IDENTITY_WRONG,
                                    FS_STORED_START_FAILED};
  uint32_t step = FS_STEP_OF(status);
  return step < sizeof STORED / sizeof *STORED && STORED[step] != 0 ? STORED[step] : status;
}

/* The image in the slot is the one that was sealed, and that one is what the unit marked. */
static FS_APART fs_status judge_content(fs_device *device, const fs_judge *judge, const uint8_t *mark,
                                        fs_facts *facts) {
  const uint8_t *image = judge->b + judge->image_digest;
  const uint8_t *manifest = judge->b + judge->manifest_digest;
  uint8_t digest[32];
  uint32_t offset = judge->unit->map.slots[judge->slot].offset;
  if (fs_digest_of_area(device, offset, judge->image_size, digest) != FS_OK) return FS_STORED_IMAGE_WRONG;
  facts->confirmed ^= fs_differs(digest, image, 32);
  facts->confirmed ^= fs_differs(FS_MARK_DIGEST(mark), manifest, 32);
  facts->image_digest = image;
  if (fs_same(digest, image, 32) != FS_OK) return FS_STORED_IMAGE_WRONG;
  if (fs_same(FS_MARK_DIGEST(mark), manifest, 32) != FS_OK) return FS_STORED_ENVELOPE_WRONG;
  return FS_MARK_NUMBER(mark) == judge->sequence_number ? FS_OK : FS_STORED_ENVELOPE_WRONG;
}

fs_status fs_judge_slot(fs_device *device, uint32_t slot, const uint8_t *mark, uint32_t security_floor,
                        fs_facts *facts) {
  fs_span area = device->unit_class->map.envelopes[slot];
  fs_bytes envelope = {device->work, FS_MARK_LENGTH(mark)};
  fs_judge judge;
  fs_status status;
  memset(facts, 0, sizeof *facts);
  if (envelope.length > area.size || envelope.length > device->work_size) return FS_STORED_ENVELOPE_WRONG;
  if (fs_read_flash(device, area.offset, device->work, envelope.length) != FS_OK) return FS_STORED_ENVELOPE_WRONG;
  fs_begin(&judge, device->unit_class, device->crypto, envelope);
  judge.stored = 1;
  judge.slot = (uint8_t)slot;
  judge.room = device->work_size;
  judge.security_floor = security_floor;
  status = fs_decide(&judge, 0, &facts->confirmed);
  facts->sequence_number = judge.sequence_number;
  facts->security_version = judge.security_version;
  facts->image_size = judge.image_size;
  return status == FS_OK ? judge_content(device, &judge, mark, facts) : as_stored(status);
}

static void pass_over(fs_started *started, uint32_t slot, fs_status why) {
  if (started->passed_count >= sizeof started->passed_slot) return;
  started->passed_slot[started->passed_count] = (uint8_t)slot;
  started->passed[started->passed_count++] = why;
}

/* Verifies a slot; one that fails is passed over. */
uint32_t fs_judge_into(fs_device *device, fs_started *started, uint32_t slot, const uint8_t *mark, fs_facts *facts) {
  fs_status status = fs_judge_slot(device, slot, mark, fs_security_floor(device), facts);
  if (status == FS_OK) return 1;
  pass_over(started, slot, status);
  return 0;
}

/* A slot that does not verify counts as empty from now on, so that no later start tries it. */
void fs_empty_slot(fs_device *device, uint32_t slot) {
  memset(FS_MARK(device->marks, slot), 0, FS_MARK_SLOT_SIZE);
  fs_put32(device->marks + FS_MARK_PROGRESS, 4, 0);
}

/* Invokes a verified slot; a ready image is on trial for good before that. */
static uint32_t invoke(fs_device *device, fs_started *started, uint32_t slot, const fs_facts *facts) {
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
  started->sequence_number = facts->sequence_number;
  started->image_size = facts->image_size;
  memcpy(started->image_digest, facts->image_digest, 32);
  started->confirmed = facts->confirmed;
  return 1;
}

/* Slots that may be started: nothing runs from a staging area. */
static uint32_t startable(const fs_device *device, uint8_t order[2]) {
  uint32_t count = fs_candidates(device, order);
  if (device->unit_class->map.shape != FS_STAGED) return count;
  if (count > 0 && order[0] != FS_RUN_SLOT) order[0] = order[1];
  return FS_MARK_STATE(FS_MARK(device->marks, FS_RUN_SLOT)) >= FS_READY ? 1 : 0;
}

static FS_APART uint32_t start_newest(fs_device *device, fs_started *started, fs_facts *facts) {
  uint8_t order[2] = {0, 0};
  uint32_t count = startable(device, order);
  uint32_t i;
  for (i = 0; i < count; i++) {
    const uint8_t *mark = FS_MARK(device->marks, order[i]);
    if (fs_judge_into(device, started, order[i], mark, facts) && invoke(device, started, order[i], facts)) return 1;
    if (FS_MARK_STATE(mark) != FS_READY) continue;
    fs_empty_slot(device, order[i]);
    (void)fs_write_marks(device);
  }
  return 0;
}

/* Whether the recovery area holds the image that provisioning wrote, and nothing behind it: FS_OK. */
static FS_APART fs_status recovery_holds(fs_device *device, uint8_t digest[32]) {
  const fs_class *unit = device->unit_class;
  fs_span area = unit->map.recovery;
  memset(digest, 0, 32);
  if (unit->recovery_size == 0 || unit->recovery_size > area.size) return FS_PORT_FAILED;
  if (fs_digest_of_area(device, area.offset, unit->recovery_size, digest) != FS_OK) return FS_PORT_FAILED;
  if (!fs_flash_is(device, area.offset + unit->recovery_size, area.size - unit->recovery_size,
                   device->flash->erased_value))
    return FS_PORT_FAILED;
  return fs_same(digest, unit->recovery_digest, 32);
}

static FS_APART uint32_t may_recover(fs_device *device) {
  uint8_t digest[32];
  return recovery_holds(device, digest) == FS_OK;
}

/* An image still on trial at a start was not kept: it falls back, unless nothing else could run. */
static FS_APART uint32_t end_trial(fs_device *device, fs_started *started, uint32_t trial, fs_facts *facts) {
  uint8_t order[2] = {0, 0};
  uint8_t *mark = FS_MARK(device->marks, trial);
  uint32_t count = startable(device, order);
  uint32_t other = FS_RECOVERY;
  uint32_t i;
  for (i = 0; i < count && other == FS_RECOVERY; i++)
    if (order[i] != trial && fs_judge_into(device, started, order[i], FS_MARK(device->marks, order[i]), facts))
      other = order[i];
  if (other == FS_RECOVERY && !may_recover(device))
    return fs_judge_into(device, started, trial, mark, facts) && invoke(device, started, trial, facts);
  fs_remember_fallen(device, FS_MARK_DIGEST(mark), 1);
  memset(mark, 0, FS_MARK_SLOT_SIZE);
  (void)fs_write_marks(device);
  pass_over(started, trial, FS_TRIAL_RAN_OUT);
  return other != FS_RECOVERY && invoke(device, started, other, facts);
}

static uint32_t start_slots(fs_device *device, fs_started *started) {
  uint32_t slot;
  fs_facts facts;
  if (!device->marks_read) {
    for (slot = 0; slot < 2; slot++) pass_over(started, slot, FS_MARKS_UNREADABLE);
    return 0;
  }
  (void)fs_settle(device);
  for (slot = 0; slot < 2; slot++)
    if (FS_MARK_STATE(FS_MARK(device->marks, slot)) == FS_ON_TRIAL) return end_trial(device, started, slot, &facts);
  if (device->unit_class->map.shape == FS_STAGED && fs_move_in(device, started, &facts))
    return invoke(device, started, FS_RUN_SLOT, &facts);
  return start_newest(device, started, &facts);
}

fs_status fs_start(fs_device *device, fs_started *started) {
  memset(started, 0, sizeof *started);
  started->running = FS_NO_SLOT;
  device->running = FS_NO_SLOT;
  if (!start_slots(device, started)) {
    uint8_t digest[32];
    if (recovery_holds(device, digest) != FS_OK) return FS_NOTHING_TO_START;
    started->running = FS_RECOVERY;
    started->image_size = device->unit_class->recovery_size;
    memcpy(started->image_digest, device->unit_class->recovery_digest, 32);
    started->confirmed = FS_CONFIRMED ^ fs_differs(digest, device->unit_class->recovery_digest, 32);
  }
  if (started->confirmed != FS_CONFIRMED) {
    started->running = FS_NO_SLOT;
    return FS_NOTHING_TO_START;
  }
  device->running = started->running;
  return FS_OK;
}
