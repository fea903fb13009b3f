/* Steps 5 to 8: newer than what is on board, meant for this unit, fits where it goes, everything at hand. */
#include "life.h"

static uint32_t is_whole(const uint8_t *mark) { return FS_MARK_STATE(mark) >= FS_READY; }

static uint32_t holds(const fs_judge *judge, const uint8_t *mark) {
  return FS_MARK_STATE(mark) != FS_EMPTY && memcmp(FS_MARK_DIGEST(mark), judge->b + judge->manifest_digest, 32) == 0;
}

/* While an image is moved into the running slot of a staged unit it is on trial already: nothing else may come. */
static uint32_t is_on_trial(const fs_judge *judge, const uint8_t *marks, uint32_t slot) {
  uint32_t state = FS_MARK_STATE(FS_MARK(marks, slot));
  return state == FS_ON_TRIAL || (state == FS_FILLING && slot == 0 && judge->unit->map.shape == FS_STAGED);
}

static uint32_t tries_of(const fs_judge *judge, const uint8_t *marks) {
  uint32_t i;
  for (i = 0; i < FS_MARK_FALLEN_COUNT; i++) {
    const uint8_t *fallen = marks + FS_MARK_FALLEN + i * FS_MARK_FALLEN_SIZE;
    if (fallen[32] != 0 && memcmp(fallen, judge->b + judge->manifest_digest, 32) == 0) return fallen[32];
  }
  return 0;
}

/* The slot that holds the manifest already, or else the one that does not run: the staging area where there is one. */
static void choose_slot(fs_judge *judge) {
  uint32_t slot;
  judge->slot = judge->unit->map.shape == FS_STAGED || judge->running == 0 ? 1 : 0;
  for (slot = 2; judge->marks != 0 && slot-- > 0;)
    if (holds(judge, FS_MARK(judge->marks, slot))) judge->slot = (uint8_t)slot;
}

static void judge_number(fs_judge *judge, const uint8_t *marks, uint64_t floor) {
  uint64_t lowest = floor;
  uint32_t slot;
  for (slot = 0; slot < 2; slot++) {
    const uint8_t *mark = FS_MARK(marks, slot);
    if (is_whole(mark) && FS_MARK_NUMBER(mark) > lowest) lowest = FS_MARK_NUMBER(mark);
  }
  fs_refuse_unless(judge, judge->sequence_number >= lowest, FS_SEQUENCE_NUMBER_TOO_LOW);
  for (slot = 0; slot < 2; slot++) {
    const uint8_t *mark = FS_MARK(marks, slot);
    if (!is_whole(mark) || FS_MARK_NUMBER(mark) != judge->sequence_number) continue;
    fs_refuse_unless(judge, holds(judge, mark), FS_SEQUENCE_NUMBER_USED);
    break;
  }
}

static void judge_freshness(fs_judge *judge) {
  const uint8_t *marks = judge->marks;
  uint32_t slot;
  /* Where a trust update was taken, its policy counts, and the kit cannot read it. */
  fs_refuse_unless(judge, marks != 0 && (!judge->unit->map.has_policy || marks[FS_MARK_TRUST] == 0), FS_MARKS_LOST);
  if (!FS_GOOD(judge)) return;
  for (slot = 0; slot < 2; slot++) fs_refuse_unless(judge, !is_on_trial(judge, marks, slot), FS_TRIAL_IN_PROGRESS);
  judge_number(judge, marks, fs_get(marks + 12, 8));
  fs_refuse_unless(judge, tries_of(judge, marks) < judge->unit->trial_attempts, FS_FELL_BACK_BEFORE);
  fs_refuse_unless(judge, !judge->security_version_wrong, FS_SECURITY_VERSION_MALFORMED);
  fs_refuse_unless(judge, judge->security_version >= fs_get32(marks + 20, 4),
                   FS_SECURITY_VERSION_BELOW_FLOOR);
  if (!holds(judge, FS_MARK(marks, judge->slot))) return;
  judge->effect = is_whole(FS_MARK(marks, judge->slot)) ? FS_ALREADY_THERE : FS_RESUME;
}

static void judge_identity(fs_judge *judge) {
  /* The kit keeps parameters of as many components as its units have (docs/device-kit.md). */
  fs_refuse_unless(judge, judge->component_count <= FS_COMPONENTS, FS_COMPONENT_COUNT_WRONG);
  if (!FS_GOOD(judge)) return;
  fs_begin_run(judge, FS_FOR_IDENTITY);
  if (fs_run(judge, FS_EL_COMMON) != FS_RAN) {
    if (judge->run->reason == FS_REASON_PARAMETER) fs_fail(judge, FS_PARAMETER_MISSING);
    fs_fail(judge, judge->run->reason <= UINT32_C(0xffff) ? judge->run->reason : FS_CONDITION_FAILED);
  }
  fs_refuse_unless(judge, judge->run->met_vendor, FS_VENDOR_NOT_NAMED);
  fs_refuse_unless(judge, judge->run->met_class, FS_CLASS_NOT_NAMED);
}

/* All components of the unit and no other, and what passes through where it is named. */
static void judge_components(fs_judge *judge) {
  uint32_t staged = judge->unit->map.shape == FS_STAGED;
  uint32_t wanted = staged ? 2 : 1;
  uint32_t i;
  uint32_t seen = 0;
  for (i = 0; i < judge->component_count; i++) {
    uint32_t role = fs_role(judge, i);
    if (role == FS_DOWNLOAD && (seen & 1u << FS_DOWNLOAD) == 0) wanted++;
    seen |= 1u << role;
  }
  fs_refuse_unless(judge, judge->component_count == wanted, FS_COMPONENT_COUNT_WRONG);
  for (i = 0; i < judge->component_count; i++)
    fs_refuse_unless(judge, fs_role(judge, i) != FS_NO_ROLE, FS_COMPONENT_UNKNOWN);
  fs_refuse_unless(judge, judge->component_count < 2 || fs_role(judge, 0) != fs_role(judge, 1), FS_COMPONENT_UNKNOWN);
}

/* What comes into the slot that is run from. */
static fs_arrival *image_of(const fs_judge *judge) {
  return &judge->run->arrival[fs_role(judge, 0) == FS_MAIN ? 0 : 1];
}

static uint32_t smaller_slot(const fs_map *map) {
  return map->slots[0].size < map->slots[1].size ? map->slots[0].size : map->slots[1].size;
}

static void judge_fit(fs_judge *judge, uint32_t kept) {
  const fs_map *map = &judge->unit->map;
  uint32_t slot_room = map->shape == FS_STAGED ? smaller_slot(map) : map->slots[judge->slot].size;
  fs_ran ran;
  judge_components(judge);
  if (!FS_GOOD(judge)) return;
  fs_begin_run(judge, FS_FOR_START);
  ran = fs_run(judge, FS_EL_VALIDATE);
  if (ran == FS_RAN) {
    ran = fs_run(judge, FS_EL_INVOKE);
    if (ran != FS_RAN) fs_refuse_unless(judge, judge->run->element_run == FS_EL_INVOKE, FS_IMAGE_NOT_NAMED);
  } else
    fs_fail(judge, FS_IMAGE_NOT_NAMED);
  fs_refuse_unless(judge, judge->run->compared && !judge->run->differs, FS_IMAGE_NOT_NAMED);
  fs_refuse_unless(judge, judge->run->has_image_size, FS_IMAGE_SIZE_MISSING);
  fs_refuse_unless(judge, judge->image_size > 0, FS_IMAGE_EMPTY);
  fs_refuse_unless(judge, judge->image_size <= slot_room, FS_IMAGE_TOO_LARGE);
  fs_refuse_unless(judge,
                   ran == FS_RAN && judge->run->invoked == 1 && judge->run->invoked_main &&
                       FS_ABSENT(fs_element(judge, FS_EL_LOAD)),
                   FS_START_NOT_DESCRIBED);
  fs_refuse_unless(judge, kept <= map->envelopes[judge->slot].size && kept <= judge->room, FS_ENVELOPE_AREA_TOO_SMALL);
}

static void judge_install(fs_judge *judge) {
  static const uint8_t ELEMENTS[] = {FS_EL_FETCH, FS_EL_INSTALL};
  fs_ran ran = FS_RAN;
  uint32_t i;
  fs_begin_run(judge, FS_FOR_INSTALL);
  for (i = 0; i < 2 && ran == FS_RAN; i++)
    if (!FS_ABSENT(fs_element(judge, ELEMENTS[i]))) ran = fs_run(judge, ELEMENTS[i]);
  if (ran == FS_RAN) return;
  if (judge->run->reason == FS_REASON_ABSENT) fs_fail(judge, FS_SEVERED_PART_MISSING);
  if (judge->run->reason == FS_REASON_PARAMETER && judge->run->failed_command == 21) fs_fail(judge, FS_IMAGE_SOURCE_MISSING);
  fs_fail(judge, FS_INSTALL_FAILED);
}

/* The unit is among the recipients, the content key opens, and the length follows from the image. */
static void judge_cipher(fs_judge *judge, const fs_arrival *image, fs_cipher *cipher) {
  fs_cur at = {image->info, judge->size};
  if (!FS_GOOD(judge) || image->info == 0) return;
  fs_judge_encryption(judge, fs_string(judge, &at), cipher);
  fs_refuse_unless(judge, !image->has_size || image->size == judge->image_size, FS_CIPHERTEXT_LENGTH_WRONG);
  if (image->digest != 0) cipher->digest = judge->b + image->digest;
}

static void judge_content(fs_judge *judge, fs_cipher *cipher) {
  fs_arrival *image = image_of(judge);
  fs_cur integrated;
  fs_refuse_unless(judge, !judge->altered, FS_SEVERED_PART_WRONG);
  fs_refuse_unless(judge, !FS_ABSENT(fs_element(judge, FS_EL_FETCH)) || !FS_ABSENT(fs_element(judge, FS_EL_INSTALL)),
                   FS_INSTALL_MISSING);
  if (!FS_GOOD(judge)) return;
  judge_install(judge);
  fs_refuse_unless(judge, image->from != FS_FROM_NOTHING, FS_INSTALL_FAILED);
  judge_cipher(judge, image, cipher);
  if (!FS_GOOD(judge) || image->from == FS_FROM_MANIFEST) return;
  integrated = fs_entry(judge, image->content, 0);
  fs_refuse_unless(judge,
                   !FS_ABSENT(integrated) || image->content.off == image->content.end ||
                       fs_byte(judge, image->content.off) != '#',
                   FS_PAYLOAD_MISSING);
  image->content = FS_ABSENT(integrated) ? integrated : fs_string(judge, &integrated);
}

/* What comes with a manifest that is on board already is judged where it came along, so that a forgery is told. */
static uint32_t wants_content(const fs_judge *judge) {
  return !judge->stored && (judge->effect != FS_ALREADY_THERE || judge->has_image || judge->integrated);
}

static void take_payload(const fs_judge *judge, fs_payload *payload) {
  const fs_arrival *image = image_of(judge);
  if (image->from != FS_FROM_NOTHING && !FS_ABSENT(image->content)) {
    payload->from = FS_FROM_MANIFEST;
    payload->bytes.bytes = judge->b + image->content.off;
    payload->bytes.length = image->content.end - image->content.off;
  } else if (image->from == FS_FROM_URI && judge->has_image)
    payload->from = FS_FROM_URI;
}

static FS_APART void follow(fs_judge *judge, fs_payload *payload) {
  if (!judge->stored) {
    choose_slot(judge);
    judge_freshness(judge);
  }
  if (FS_GOOD(judge)) judge_identity(judge);
  if (FS_GOOD(judge)) judge_fit(judge, judge->stored ? judge->size : fs_kept_size(judge));
  if (judge->stored)
    fs_refuse_unless(judge, !judge->security_version_wrong && judge->security_version >= judge->security_floor,
                     FS_STORED_VERSION_BELOW_FLOOR);
  if (FS_GOOD(judge) && wants_content(judge)) {
    judge_content(judge, &payload->cipher);
    take_payload(judge, payload);
  }
}

void fs_follow(fs_judge *judge, fs_payload *payload) {
  fs_machine machine;
  memset(&machine, 0, sizeof machine);
  judge->run = &machine;
  follow(judge, payload);
  judge->run = 0;
}

/* Length of the wrapper that is kept: the digest and the block that counts, each a byte string, in an array. */
static uint32_t wrapper_size(const fs_judge *judge) {
  uint8_t head[5];
  uint32_t digest = judge->digest.end - judge->digest.off;
  uint32_t block = judge->block.end - judge->block.off;
  return 1 + fs_put_head(head, 2, digest) + digest + fs_put_head(head, 2, block) + block;
}

/* Tag 107, a map of wrapper and manifest: no payloads, no severed parts (src/unit/check/kept-envelope.ts). */
uint32_t fs_kept_size(const fs_judge *judge) {
  uint8_t head[5];
  uint32_t wrapper = wrapper_size(judge);
  return 4 + fs_put_head(head, 2, wrapper) + wrapper + 1 + (judge->manifest.end - judge->manifest.off);
}

static uint8_t *put_bytes(uint8_t *into, const fs_judge *judge, fs_cur span) {
  memcpy(into, judge->b + span.off, span.end - span.off);
  return into + (span.end - span.off);
}

static uint8_t *put_string(uint8_t *into, const fs_judge *judge, fs_cur span) {
  into += fs_put_head(into, 2, span.end - span.off);
  return put_bytes(into, judge, span);
}

void fs_write_kept(const fs_judge *judge, uint8_t *into) {
  static const uint8_t START[] = {0xd8, 0x6b, 0xa2, 0x02};
  memcpy(into, START, sizeof START);
  into += sizeof START;
  into += fs_put_head(into, 2, wrapper_size(judge));
  *into++ = 0x82;
  into = put_string(into, judge, judge->digest);
  into = put_string(into, judge, judge->block);
  *into++ = 0x03;
  (void)put_bytes(into, judge, judge->manifest);
}
