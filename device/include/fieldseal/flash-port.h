/*
 * NOR flash as the kit needs it. Offsets and lengths in bytes from the start of what the port shows; the areas of the
 * class lie there as its fs_class says. A page is erased as a whole; a write unit is programmed as a whole, once after each
 * erase of its page. When a call returns FS_OK the order is done for good, whatever happens to the power next; calls take
 * effect in the order in which they were made. Not from an interrupt, and nobody else writes.
 */
#ifndef FIELDSEAL_FLASH_PORT_H
#define FIELDSEAL_FLASH_PORT_H

#include "status.h"

/* The largest write unit that the kit can program, in bytes. */
#define FS_WRITE_UNIT_MAX 64u

typedef struct {
  void *context;
  uint32_t size;
  uint32_t erase_page;
  uint32_t write_unit;
  uint8_t erased_value;

  /* Any offset and length within `size`. FS_OK or FS_PORT_FAILED. */
  fs_status (*read)(void *context, uint32_t offset, uint8_t *into, uint32_t length);
  /* Whole pages, in ascending order. FS_OK or FS_PORT_FAILED. */
  fs_status (*erase)(void *context, uint32_t offset, uint32_t length);
  /*
   * Whole write units, in ascending order. FS_OK, FS_PORT_FAILED, or FS_NOT_ERASED where the unit at hand was programmed
   * since its page was erased, or does not read as erased; then nothing of it has happened.
   */
  fs_status (*program)(void *context, uint32_t offset, const uint8_t *bytes, uint32_t length);
} fs_flash;

#endif
