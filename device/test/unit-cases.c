#include "unit-cases.h"

#include <setjmp.h>
#include <string.h>

#include "class-record.h"
#include "crypto-cases.h"
#include "fieldseal/kit.h"
#include "tell.h"

enum {
  CASE_CLASS = 1,
  CASE_FLASH = 2,
  CASE_POWER = 3,
  CASE_CHECK = 4,
  CASE_INSTALL = 5,
  CASE_START = 6,
  CASE_KEEP = 7,
  CASE_RAISE = 8,
  CASE_FLASH_DIGEST = 9,
  CASE_CHECK_MARKS = 10,
  CASE_BEGIN_LIFE = 11,
  CASE_CUT = 12
};

#define CLASS_SIZE 65536u
#define FLASH_SIZE 1048576u
#define FLASH_MEMORY (FLASH_SIZE + FLASH_SIZE / 4u)
#define WORK_SIZE 131072u
#define ROW_SIZE 131072u

static uint8_t class_bytes[CLASS_SIZE];
static class_record class_at_hand;
static uint8_t base[FLASH_SIZE];
static uint32_t memory[FLASH_MEMORY / 4u];
static uint8_t work[WORK_SIZE];
static uint8_t row[ROW_SIZE];

static fs_software_crypto keys;
static fs_crypto crypto;
static fs_emulated_flash emulated;
static fs_flash flash;
static fs_device device;
static jmp_buf power;
/* Whether the flash is no longer as it was given. */
static int touched;

static void power_goes(void *context) {
  (void)context;
  longjmp(power, 1);
}

static void tell_status(fs_status status) {
  uint8_t bytes[4];

  for (uint32_t i = 0; i < 4u; i++) bytes[i] = (uint8_t)(status >> (24u - 8u * i));
  tell_hex(bytes, sizeof bytes);
}

static void tell_status_line(fs_status status) {
  tell_status(status);
  tell_line();
}

static int case_class(record *from) {
  const uint32_t length = (uint32_t)(from->end - from->at);
  record kept;

  if (length > CLASS_SIZE) return 0;
  memcpy(class_bytes, from->at, length);
  from->at = from->end;
  kept.at = class_bytes;
  kept.end = class_bytes + length;
  kept.short_of = 0;
  if (!take_class(&kept, &class_at_hand)) return 0;
  if (class_at_hand.geometry.size > FLASH_SIZE || fs_emulated_memory(&class_at_hand.geometry) > sizeof memory) return 0;
  keys.keys = class_at_hand.keys;
  keys.count = class_at_hand.key_count;
  keys.row = row;
  keys.row_size = ROW_SIZE;
  crypto = crypto_under_test(&keys);
  fs_emulated_over(&emulated, &class_at_hand.geometry, memory);
  emulated.power_cut = power_goes;
  flash = fs_emulated_port(&emulated);
  return 1;
}

static int case_flash(record *from) {
  const fs_bytes content = take_bytes(from);

  if (content.length != class_at_hand.geometry.size) return 0;
  memcpy(base, content.bytes, content.length);
  fs_emulated_fill(&emulated, base);
  emulated.operations = 0;
  touched = 0;
  return 1;
}

/* The power comes: with the flash as a case left it, or as it was given. `running` survives where a case says so. */
static void case_power(record *from) {
  const uint8_t anew = take_u8(from);
  const uint8_t running = take_u8(from);
  fs_status status;

  if (emulated.operations != 0u) touched = 1;
  if (anew && touched) {
    fs_emulated_fill(&emulated, base);
    touched = 0;
  }
  emulated.operations = 0;
  emulated.cut = FS_CUT_NEVER;
  memset(&device, 0, sizeof device);
  device.unit_class = &class_at_hand.unit_class;
  device.crypto = &crypto;
  device.flash = &flash;
  device.work = work;
  device.work_size = WORK_SIZE;
  status = fs_open(&device);
  device.running = (int8_t)running;
  tell_status_line(status);
}

static fs_bytes image;

static fs_status read_image(void *context, uint32_t offset, uint8_t *into, uint32_t length) {
  const fs_bytes *source = (const fs_bytes *)context;

  if (offset > source->length || length > source->length - offset) return FS_PORT_FAILED;
  if (length != 0u) memcpy(into, source->bytes + offset, length);
  return FS_OK;
}

static fs_offer take_offer(record *from) {
  fs_offer offer;

  memset(&offer, 0, sizeof offer);
  offer.has_now = take_u8(from);
  offer.now = take_u64(from);
  offer.envelope = take_bytes(from);
  if (take_u8(from)) {
    image = take_bytes(from);
    offer.read = read_image;
    offer.context = &image;
    offer.image_size = image.length;
  }
  return offer;
}

static void tell_plan(fs_status status, const fs_plan *plan) {
  tell_status(status);
  if (status == FS_OK) {
    tell_status(plan->confirmed);
    tell_number((uint64_t)plan->effect);
    tell_number(plan->slot);
    tell_number(plan->sequence_number);
    tell_number(plan->security_version);
    tell_hex(plan->manifest_digest, sizeof plan->manifest_digest);
    tell_number(plan->image_size);
    tell_hex(plan->image_digest, sizeof plan->image_digest);
  }
  tell_number(emulated.operations);
  tell_line();
}

static void case_offer(record *from, fs_status (*ask)(fs_device *, const fs_offer *, fs_plan *)) {
  const fs_offer offer = take_offer(from);
  fs_plan plan;
  fs_status status;

  memset(&plan, 0, sizeof plan);
  status = ask(&device, &offer, &plan);
  tell_plan(status, &plan);
}

static void case_check_marks(record *from) {
  const fs_bytes marks = take_bytes(from);
  const int8_t running = (int8_t)take_u8(from);
  const fs_offer offer = take_offer(from);
  fs_plan plan;
  fs_status status;

  memset(&plan, 0, sizeof plan);
  status = fs_check_marks(&class_at_hand.unit_class, &crypto, marks.length ? marks.bytes : NULL, running, &offer, &plan);
  tell_plan(status, &plan);
}

static void case_start(void) {
  fs_started started;
  fs_status status;

  memset(&started, 0, sizeof started);
  started.running = FS_NO_SLOT;
  status = fs_start(&device, &started);
  tell_status(status);
  tell_status(started.confirmed);
  tell_number((uint8_t)started.running);
  tell_number(started.on_trial);
  tell_number(started.sequence_number);
  tell_number(started.image_size);
  tell_hex(started.image_digest, sizeof started.image_digest);
  for (uint32_t i = 0; i < started.passed_count && i < 4u; i++) {
    tell_number(started.passed_slot[i]);
    tell_status(started.passed[i]);
  }
  tell_line();
}

static void case_raise(record *from) {
  fs_floors floors;

  floors.sequence_number = take_u64(from);
  floors.security_version = take_u32(from);
  floors.signer_generation = take_u32(from);
  tell_status_line(fs_raise_floors(&device, &floors));
}

/* SHA-256 over slots, envelopes and state as they lie: what an interrupted operation left is not read. */
static void case_flash_digest(void) {
  const fs_map *map = &class_at_hand.unit_class.map;
  const fs_span spans[5] = {map->slots[0], map->slots[1], map->envelopes[0], map->envelopes[1], map->state};
  uint8_t digest[32];
  fs_sha256 state;

  (void)crypto.sha256_start(crypto.context, &state);
  for (uint32_t i = 0; i < 5u; i++) {
    (void)crypto.sha256_update(crypto.context, &state, emulated.bytes + spans[i].offset, spans[i].size);
  }
  (void)crypto.sha256_finish(crypto.context, &state, digest);
  tell_hex(digest, sizeof digest);
  tell_number(emulated.operations);
  tell_line();
}

static void case_cut(record *from) {
  emulated.cut = (fs_cut_kind)take_u8(from);
  emulated.cut_after = emulated.operations + take_u32(from);
  emulated.noise = take_u32(from) | 1u;
}

static int run_powered(uint8_t kind, record *from) {
  switch (kind) {
    case CASE_POWER: case_power(from); return 1;
    case CASE_CHECK: case_offer(from, fs_check); return 1;
    case CASE_INSTALL: case_offer(from, fs_install); return 1;
    case CASE_START: case_start(); return 1;
    case CASE_KEEP: tell_status_line(fs_keep(&device)); return 1;
    case CASE_RAISE: case_raise(from); return 1;
    case CASE_FLASH_DIGEST: case_flash_digest(); return 1;
    case CASE_CHECK_MARKS: case_check_marks(from); return 1;
    case CASE_BEGIN_LIFE: tell_status_line(fs_begin_life(&device)); return 1;
    case CASE_CUT: case_cut(from); return 1;
    default: return 0;
  }
}

int run_unit_case(uint8_t kind, record *from) {
  if (kind == CASE_CLASS) return case_class(from);
  if (kind == CASE_FLASH) return case_flash(from);
  if (setjmp(power) != 0) {
    emulated.operations++;
    tell_word("power-cut");
    tell_line();
    return 1;
  }
  return run_powered(kind, from);
}
