/*
 * NOR flash over memory, with the rules of NOR, as src/unit/flash-emulated.ts has them: a page erases as a whole, a write
 * unit is programmed once after each erase, wear is counted and ends at the endurance. FOR TRIALS: the memory may be a file
 * that survives the emulator, and everything about the flash lies in it, so that another process finds it as it was left.
 * An operation that is cut in its middle leaves bits that read differently from read to read until the page is erased.
 */
#ifndef FIELDSEAL_FLASH_EMULATED_H
#define FIELDSEAL_FLASH_EMULATED_H

#include "fieldseal/flash-port.h"

typedef struct {
  uint32_t size;
  uint32_t erase_page;
  uint32_t write_unit;
  uint32_t endurance;
  uint8_t erased_value;
} fs_emulated_geometry;

/* Where in an operation the power goes away. */
typedef enum { FS_CUT_NEVER = 0, FS_CUT_BEFORE = 1, FS_CUT_MIDDLE = 2, FS_CUT_AFTER = 3 } fs_cut_kind;

typedef struct {
  fs_emulated_geometry geometry;
  /* Content, then the notes: wear of each page, which units are programmed, which are unstable. */
  uint8_t *bytes;
  uint32_t *wear;
  uint8_t *programmed;
  uint8_t *unstable;
  /* Operations since power came: each page erased and each write unit programmed is one. */
  uint32_t operations;
  fs_cut_kind cut;
  /* Whole operations before the cut. */
  uint32_t cut_after;
  /* Called at the cut; must not return. */
  void (*power_cut)(void *context);
  void *cut_context;
  /* What decides how unstable bits read; any number but 0. */
  uint32_t noise;
} fs_emulated_flash;

/* Memory that flash of this geometry takes, in bytes, a multiple of 4. */
uint32_t fs_emulated_memory(const fs_emulated_geometry *geometry);

/* Lays flash over memory, aligned to 4 bytes, and leaves what is there. `flash` has no cut scheduled. */
void fs_emulated_over(fs_emulated_flash *flash, const fs_emulated_geometry *geometry, void *memory);

/* As it comes from the factory: erased, no wear. */
void fs_emulated_factory(fs_emulated_flash *flash);

/* Content as it would read; a unit counts as programmed where it is not erased. */
void fs_emulated_fill(fs_emulated_flash *flash, const uint8_t *content);

/* The flash port over it. */
fs_flash fs_emulated_port(fs_emulated_flash *flash);

#endif
