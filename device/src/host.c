/* What conditions and directives mean on paper: for identity, for a start, for an install. */
#include "internal.h"

#define VENDOR 1
#define CLASS 2
#define IMAGE_MATCH 3
#define USE_BEFORE 4
#define SLOT 5
#define IMAGE_SIZE 14
#define CONTENT 18
#define WRITE 18
#define ENCRYPTION_INFO 19
#define FETCH 21
#define URI 21
#define COPY 22
#define SOURCE 22
#define INVOKE 23
#define DEVICE 24

static const char *const NAMES[] = {"main", "staging", "download", "policy"};

uint32_t fs_is_named(const fs_judge *judge, uint32_t identifier, uint8_t initial) {
  uint32_t i;
  for (i = 0; i < sizeof NAMES / sizeof *NAMES; i++) {
    uint32_t length = (uint32_t)strlen(NAMES[i]);
    if ((uint8_t)NAMES[i][0] != initial) continue;
    return fs_byte(judge, identifier) == 0x81 && fs_byte(judge, identifier + 1) == (0x40 | length) &&
           fs_holds(judge, identifier + 2, (const uint8_t *)NAMES[i], length);
  }
  return 0;
}

/* A unit with a staging area has main and staging; any other fetches what passes through as download. */
uint32_t fs_role(const fs_judge *judge, uint32_t component) {
  uint32_t staged = judge->unit->map.shape == FS_STAGED;
  uint32_t identifier = judge->component[component];
  if (fs_is_named(judge, identifier, 'm')) return FS_MAIN;
  if (fs_is_named(judge, identifier, staged ? 's' : 'd')) return staged ? FS_STAGING : FS_DOWNLOAD;
  return FS_NO_ROLE;
}

/* Place of the value of a parameter; 0 where it is not set. */
static uint32_t place_of(const fs_judge *judge, uint32_t code) { return fs_parameter(judge, judge->run->index, code); }

static uint32_t number_of(fs_judge *judge, uint32_t code) {
  fs_cur at = {place_of(judge, code), judge->size};
  (void)fs_head(judge, &at);
  return judge->argument;
}

/* Place of the 32 bytes in parameter image-digest: a byte string around [-16, bytes], 2 + 2 + 2 bytes before them. */
static uint32_t digest_of(const fs_judge *judge) { return place_of(judge, IMAGE_MATCH) + 6; }

static uint32_t is_id(fs_judge *judge, uint32_t code, const uint8_t id[16]) {
  fs_cur at = {place_of(judge, code), judge->size};
  if (fs_byte(judge, at.off) >> 5 != 2) return 0;
  return fs_span_is(judge, fs_string(judge, &at), id, 16);
}

/* The refusal that a failed condition means; 0 where it holds. What cannot be judged here counts as failed. */
static fs_status condition(fs_judge *judge, uint32_t code) {
  const fs_class *unit = judge->unit;
  uint32_t i;
  switch (code) {
    case VENDOR:
      return is_id(judge, VENDOR, unit->vendor_id) ? 0 : FS_VENDOR_WRONG;
    case CLASS:
      for (i = 0; i < unit->class_id_count; i++)
        if (is_id(judge, CLASS, unit->class_ids[i])) return 0;
      return FS_CLASS_WRONG;
    case USE_BEFORE:
      if (judge->stored) return 0;
      if (!judge->has_now) return FS_CLOCK_NEEDED;
      (void)number_of(judge, USE_BEFORE);
      return judge->now < judge->wide ? 0 : FS_USE_BEFORE_PASSED;
    case SLOT:
      return number_of(judge, SLOT) == judge->slot ? 0 : FS_SLOT_NOT_OFFERED;
    case DEVICE:
      return is_id(judge, DEVICE, unit->device_id) ? 0 : FS_DEVICE_WRONG;
    default:
      return FS_CONDITION_FAILED;
  }
}

static fs_ran failed(fs_judge *judge, fs_ran how) {
  judge->run->reason = FS_REASON_HOST;
  return how;
}

/* A start compares the image with one digest, however often. */
static fs_ran match_at_start(fs_judge *judge) {
  uint32_t digest = digest_of(judge);
  if (fs_role(judge, judge->run->index) != FS_MAIN) return FS_RAN;
  if (!judge->run->compared) {
    judge->run->compared = 1;
    judge->image_digest = digest;
    judge->run->has_image_size = place_of(judge, IMAGE_SIZE) != 0;
    if (judge->run->has_image_size) judge->image_size = number_of(judge, IMAGE_SIZE);
  } else if (fs_order(judge, judge->image_digest, digest, 32) != 0)
    judge->run->differs = 1;
  return FS_RAN;
}

/* What was brought in is the image that every start will compare with, and no other. */
static fs_ran match_at_install(fs_judge *judge) {
  uint32_t role = fs_role(judge, judge->run->index);
  uint32_t digest = digest_of(judge);
  fs_arrival *arrival = &judge->run->arrival[judge->run->index];
  if (role == FS_NO_ROLE || arrival->from == FS_FROM_NOTHING) return failed(judge, FS_CONDITION_STOPPED);
  if (role != FS_MAIN) {
    arrival->digest = digest;
    return FS_RAN;
  }
  if (fs_order(judge, judge->image_digest, digest, 32) == 0) return FS_RAN;
  return failed(judge, FS_CONDITION_STOPPED);
}

/* On a unit with a staging area the running slot is filled from there only. */
static fs_ran bring(fs_judge *judge, uint32_t role, fs_from from, uint32_t code) {
  fs_cur at = {place_of(judge, code), judge->size};
  fs_arrival *arrival = &judge->run->arrival[judge->run->index];
  if (role == FS_MAIN && judge->unit->map.shape == FS_STAGED) return failed(judge, FS_ABORTED);
  if (arrival->from != FS_FROM_NOTHING) return failed(judge, FS_ABORTED);
  (void)fs_head(judge, &at);
  arrival->from = (uint8_t)from;
  arrival->content.off = at.off;
  arrival->content.end = at.off + judge->argument;
  return FS_RAN;
}

/* What moves on is what was sealed: the image itself, or a ciphertext that becomes it. */
static fs_ran copy(fs_judge *judge, uint32_t role) {
  uint32_t source = number_of(judge, SOURCE);
  uint32_t from = fs_role(judge, source);
  uint32_t info = place_of(judge, ENCRYPTION_INFO);
  const fs_arrival *arrival = &judge->run->arrival[source < FS_COMPONENTS ? source : 0];
  fs_arrival *main = &judge->run->arrival[judge->run->index];
  if (from == FS_NO_ROLE || arrival->from == FS_FROM_NOTHING || source == judge->run->index)
    return failed(judge, FS_ABORTED);
  if (role != FS_MAIN || from == FS_MAIN) return failed(judge, FS_ABORTED);
  if (info == 0) {
    if (arrival->digest != 0 && fs_order(judge, arrival->digest, judge->image_digest, 32) != 0)
      return failed(judge, FS_ABORTED);
    if (arrival->has_size && arrival->size != judge->image_size) return failed(judge, FS_ABORTED);
  }
  *main = *arrival;
  main->info = info;
  return FS_RAN;
}

/* A content that is written is decrypted at once (draft-ietf-suit-firmware-encryption section 4.1). */
static fs_ran write_content(fs_judge *judge, uint32_t role) {
  uint32_t info = place_of(judge, ENCRYPTION_INFO);
  fs_arrival *arrival = &judge->run->arrival[judge->run->index];
  if (info != 0 && role != FS_MAIN) return failed(judge, FS_ABORTED);
  if (bring(judge, role, FS_FROM_MANIFEST, CONTENT) != FS_RAN) return FS_ABORTED;
  arrival->info = info;
  arrival->digest = 0;
  arrival->size = arrival->content.end - arrival->content.off;
  arrival->has_size = info != 0;
  return FS_RAN;
}

static fs_ran install(fs_judge *judge, uint32_t code) {
  uint32_t role = fs_role(judge, judge->run->index);
  if (role == FS_NO_ROLE) return failed(judge, FS_ABORTED);
  if (place_of(judge, IMAGE_SIZE) != 0) {
    uint32_t size = number_of(judge, IMAGE_SIZE);
    if (role == FS_MAIN && size != judge->image_size) return failed(judge, FS_ABORTED);
    if (role != FS_MAIN) {
      judge->run->arrival[judge->run->index].size = size;
      judge->run->arrival[judge->run->index].has_size = 1;
    }
  }
  if (code == FETCH) return bring(judge, role, FS_FROM_URI, URI);
  if (code == WRITE) return write_content(judge, role);
  if (code == COPY) return copy(judge, role);
  return failed(judge, FS_ABORTED);
}

fs_ran fs_host(fs_judge *judge, const fs_command *command) {
  fs_status refusal;
  if ((command->flags & FS_CMD_CONDITION) == 0) {
    if (judge->run->purpose == FS_FOR_INSTALL) return install(judge, command->code);
    if (command->code != INVOKE || judge->run->purpose != FS_FOR_START) return failed(judge, FS_ABORTED);
    judge->run->invoked_main = fs_role(judge, judge->run->index) == FS_MAIN;
    if (judge->run->invoked < 2) judge->run->invoked++;
    return FS_RAN;
  }
  if (command->code == IMAGE_MATCH && judge->run->purpose == FS_FOR_START) return match_at_start(judge);
  if (command->code == IMAGE_MATCH && judge->run->purpose == FS_FOR_INSTALL) return match_at_install(judge);
  refusal = condition(judge, command->code);
  if (refusal != 0) {
    judge->run->reason = refusal;
    return FS_CONDITION_STOPPED;
  }
  if (command->code == VENDOR) {
    judge->run->met_vendor = 1;
    judge->evidence.vendor_at = place_of(judge, VENDOR) + 1;
  }
  if (command->code == CLASS) {
    judge->run->met_class = 1;
    judge->evidence.class_at = place_of(judge, CLASS) + 1;
  }
  return FS_RAN;
}
