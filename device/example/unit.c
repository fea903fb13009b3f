#include "unit.h"

#include <string.h>

#include "../ports/cortex-m/uart.h"
#include "../ports/crypto/crypto-bearssl.h"
#include "../ports/crypto/hss-lms.h"
#include "../ports/flash/flash-emulated.h"
#include "unit-class.h" /* what `fieldseal header` wrote for the class */

/* What belongs to one unit: on a real part in a key slot and in locked memory, and no power cuts to order. */
typedef struct {
  uint8_t marks_key[32];
  uint8_t device_id[16];
  uint32_t cut;
  uint32_t cut_after;
} unit_own;

#define FLASH_BASE FIELDSEAL_SLOT_0_ADDRESS
#define OWN_ADDRESS (FLASH_BASE + 0x00f00000u)
#define FIELDSEAL_DEVICE_ID ((const uint8_t *)(OWN_ADDRESS + 32u))
#include "fieldseal/header-class.h"

#define WORK_SIZE 8192u
#define ENDURANCE 10000u

#ifdef FIELDSEAL_BOOT_LOG_ADDRESS
#define FLASH_END (FIELDSEAL_BOOT_LOG_ADDRESS + FIELDSEAL_BOOT_LOG_SIZE)
#else
#define FLASH_END (FIELDSEAL_STATE_ADDRESS + FIELDSEAL_STATE_SIZE)
#endif

static const unit_own *const own = (const unit_own *)OWN_ADDRESS;

static fs_software_key marks_key;
static fs_software_crypto keys;
static fs_crypto crypto;
static fs_emulated_flash emulated;
static fs_flash flash;
static uint8_t work[WORK_SIZE];

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

  begin_flash();
  marks_key.slot = FS_MARKS_KEY;
  marks_key.key.bytes = own->marks_key;
  marks_key.key.length = sizeof own->marks_key;
  keys.keys = &marks_key;
  keys.count = 1;
  crypto = fs_crypto_bearssl_p256(&keys);
#if FIELDSEAL_ALGORITHM == FS_HSS_LMS
  crypto.verify_hss = fs_hss_verify;
#endif
  memset(device, 0, sizeof *device);
  device->unit_class = &fieldseal_class;
  device->crypto = &crypto;
  device->flash = &flash;
  device->work = work;
  device->work_size = sizeof work;
  status = fs_open(device);
  device->running = running;
  return status;
}

uint32_t unit_slot_address(uint32_t slot) { return slot == 0u ? FIELDSEAL_SLOT_0_ADDRESS : FIELDSEAL_SLOT_1_ADDRESS; }
