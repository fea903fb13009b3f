#include "unit.h"

#include <string.h>

#include "../ports/cortex-m/uart.h"
#include "../ports/crypto/crypto-bearssl.h"
#include "../ports/flash/flash-emulated.h"
#include "unit-class.h" /* what `fieldseal header` wrote for the class */

#if FIELDSEAL_ANCHOR_COUNT != 1 || FIELDSEAL_CLASS_ID_COUNT != 1 || FIELDSEAL_MAC_KEY_COUNT != 0
#error "this example is for a class with one root and one class identifier, asymmetric scheme"
#endif
#if FIELDSEAL_DEMAND_COUNT != 0 || FIELDSEAL_COMPONENT_COUNT != 0
#error "the kit is not built for several signers or further components (docs/porting.md)"
#endif

/* Areas follow each other without gaps, in this order (src/unit/flash-layout.ts). */
#define FLASH_BASE FIELDSEAL_SLOT_0_ADDRESS
#define ENVELOPE_SIZE (FIELDSEAL_ENVELOPES_SIZE / 2u)
#define WORK_SIZE 8192u
#define ENDURANCE 10000u

#ifdef FIELDSEAL_BOOT_LOG_ADDRESS
#define FLASH_END (FIELDSEAL_BOOT_LOG_ADDRESS + FIELDSEAL_BOOT_LOG_SIZE)
#else
#define FLASH_END (FIELDSEAL_STATE_ADDRESS + FIELDSEAL_STATE_SIZE)
#endif

/* What belongs to one unit: on a real part in a key slot and in locked memory, and no power cuts to order. */
typedef struct {
  uint8_t marks_key[32];
  uint8_t device_id[16];
  uint32_t cut;
  uint32_t cut_after;
} unit_own;

static const unit_own *const own = (const unit_own *)(FLASH_BASE + 0x00f00000u);

static fs_class unit_class;
static uint8_t class_ids[1][16];
static fs_anchor anchor;
static fs_software_key marks_key;
static fs_software_crypto keys;
static fs_crypto crypto;
static fs_emulated_flash emulated;
static fs_flash flash;
static uint8_t work[WORK_SIZE];

static fs_span area(uint32_t address, uint32_t size) {
  const fs_span span = {address - FLASH_BASE, size};
  return span;
}

static void read_class(void) {
  memcpy(unit_class.vendor_id, fieldseal_vendor_id, 16);
  memcpy(unit_class.device_id, own->device_id, 16);
  memcpy(class_ids[0], fieldseal_class_id_0, 16);
  unit_class.class_ids = (const uint8_t(*)[16])class_ids;
  unit_class.class_id_count = 1;
  unit_class.algorithm = FS_ESP256;
  anchor.name.bytes = fieldseal_anchor_0_name;
  anchor.name.length = sizeof fieldseal_anchor_0_name;
  anchor.spki.bytes = fieldseal_anchor_0_key;
  anchor.spki.length = sizeof fieldseal_anchor_0_key;
  unit_class.anchors = &anchor;
  unit_class.anchor_count = 1;
  unit_class.trial = FIELDSEAL_TRIAL;
  unit_class.has_clock = 0;
  unit_class.trial_attempts = FIELDSEAL_TRIAL_ATTEMPTS;
  unit_class.floors.sequence_number = FIELDSEAL_SEQUENCE_FLOOR;
  unit_class.floors.security_version = FIELDSEAL_SECURITY_FLOOR;
  unit_class.floors.signer_generation = FIELDSEAL_GENERATION_FLOOR;
}

static void read_map(void) {
  fs_map *map = &unit_class.map;

  map->shape = FS_SLOTS;
  map->slots[0] = area(FIELDSEAL_SLOT_0_ADDRESS, FIELDSEAL_SLOT_0_SIZE);
  map->slots[1] = area(FIELDSEAL_SLOT_1_ADDRESS, FIELDSEAL_SLOT_1_SIZE);
  map->envelopes[0] = area(FIELDSEAL_ENVELOPES_ADDRESS, ENVELOPE_SIZE);
  map->envelopes[1] = area(FIELDSEAL_ENVELOPES_ADDRESS + ENVELOPE_SIZE, ENVELOPE_SIZE);
  map->state = area(FIELDSEAL_STATE_ADDRESS, FIELDSEAL_STATE_SIZE);
#ifdef FIELDSEAL_POLICY_ADDRESS
  map->has_policy = 1;
#endif
}

/* A trial of a power cut: the core stands still until whoever runs the emulator kills it. */
static void power_goes(void *context) {
  (void)context;
  uart_put("power-cut\n");
  for (;;) {
  }
}

static void begin_flash(void) {
  fs_emulated_geometry geometry;

  geometry.size = FLASH_END - FLASH_BASE;
  geometry.erase_page = FIELDSEAL_ERASE_PAGE;
  geometry.write_unit = FIELDSEAL_WRITE_UNIT;
  geometry.endurance = ENDURANCE;
  geometry.erased_value = FIELDSEAL_ERASED_VALUE;
  fs_emulated_over(&emulated, &geometry, (void *)FLASH_BASE);
  emulated.cut = (fs_cut_kind)own->cut;
  emulated.cut_after = own->cut_after;
  emulated.power_cut = power_goes;
  flash = fs_emulated_port(&emulated);
}

fs_status unit_begin(fs_device *device, int8_t running) {
  fs_status status;

  read_class();
  read_map();
  begin_flash();
  marks_key.slot = FS_MARKS_KEY;
  marks_key.key.bytes = own->marks_key;
  marks_key.key.length = sizeof own->marks_key;
  keys.keys = &marks_key;
  keys.count = 1;
  crypto = fs_crypto_bearssl(&keys);
  memset(device, 0, sizeof *device);
  device->unit_class = &unit_class;
  device->crypto = &crypto;
  device->flash = &flash;
  device->work = work;
  device->work_size = sizeof work;
  status = fs_open(device);
  device->running = running;
  return status;
}

uint32_t unit_slot_address(uint32_t slot) { return slot == 0u ? FIELDSEAL_SLOT_0_ADDRESS : FIELDSEAL_SLOT_1_ADDRESS; }
