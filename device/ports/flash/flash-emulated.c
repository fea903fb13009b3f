#include "flash-emulated.h"

#include <string.h>

static uint32_t pages_of(const fs_emulated_geometry *geometry) { return geometry->size / geometry->erase_page; }

static uint32_t bitmap_size(const fs_emulated_geometry *geometry) {
  const uint32_t units = geometry->size / geometry->write_unit;

  return (units + 31u) / 32u * 4u;
}

static uint32_t content_size(const fs_emulated_geometry *geometry) { return (geometry->size + 3u) / 4u * 4u; }

uint32_t fs_emulated_memory(const fs_emulated_geometry *geometry) {
  return content_size(geometry) + 4u * pages_of(geometry) + 2u * bitmap_size(geometry);
}

void fs_emulated_over(fs_emulated_flash *flash, const fs_emulated_geometry *geometry, void *memory) {
  uint8_t *notes = (uint8_t *)memory + content_size(geometry);

  memset(flash, 0, sizeof *flash);
  flash->geometry = *geometry;
  flash->bytes = (uint8_t *)memory;
  flash->wear = (uint32_t *)(void *)notes;
  flash->programmed = notes + 4u * pages_of(geometry);
  flash->unstable = flash->programmed + bitmap_size(geometry);
  flash->noise = 1u;
}

void fs_emulated_factory(fs_emulated_flash *flash) {
  memset(flash->bytes, 0, fs_emulated_memory(&flash->geometry));
  memset(flash->bytes, flash->geometry.erased_value, flash->geometry.size);
}

static int bit_of(const uint8_t *map, uint32_t unit) { return (map[unit / 8u] >> (unit % 8u)) & 1; }

static void set_bit(uint8_t *map, uint32_t unit) { map[unit / 8u] = (uint8_t)(map[unit / 8u] | 1u << (unit % 8u)); }

static void clear_bit(uint8_t *map, uint32_t unit) {
  map[unit / 8u] = (uint8_t)(map[unit / 8u] & ~(1u << (unit % 8u)));
}

static int reads_erased(const fs_emulated_flash *flash, uint32_t unit) {
  const uint32_t size = flash->geometry.write_unit;

  for (uint32_t i = 0; i < size; i++) {
    if (flash->bytes[unit * size + i] != flash->geometry.erased_value) return 0;
  }
  return 1;
}

void fs_emulated_fill(fs_emulated_flash *flash, const uint8_t *content) {
  const uint32_t units = flash->geometry.size / flash->geometry.write_unit;

  fs_emulated_factory(flash);
  memcpy(flash->bytes, content, flash->geometry.size);
  for (uint32_t unit = 0; unit < units; unit++) {
    if (!reads_erased(flash, unit)) set_bit(flash->programmed, unit);
  }
}

static uint32_t noise_of(fs_emulated_flash *flash) {
  flash->noise ^= flash->noise << 13;
  flash->noise ^= flash->noise >> 17;
  flash->noise ^= flash->noise << 5;
  return flash->noise;
}

static int in_flash(const fs_emulated_flash *flash, uint32_t offset, uint32_t length, uint32_t grain) {
  const uint32_t size = flash->geometry.size;

  return offset <= size && length <= size - offset && offset % grain == 0u && length % grain == 0u;
}

/* Bits that took hold stay, the others read either way: all of them one way in half of the reads, mixed in the rest. */
static uint8_t unsettled(fs_emulated_flash *flash, uint8_t stored, uint32_t mood) {
  const uint8_t erased = flash->geometry.erased_value;
  const uint8_t reach = (uint8_t)(stored ^ erased);
  const uint32_t seen = mood < 0x40u ? 0xffu : mood < 0x80u ? 0u : noise_of(flash);

  return (uint8_t)(erased ^ (reach & seen));
}

static fs_status read_flash(void *context, uint32_t offset, uint8_t *into, uint32_t length) {
  fs_emulated_flash *flash = (fs_emulated_flash *)context;
  const uint32_t mood = noise_of(flash) & 0xffu;

  if (!in_flash(flash, offset, length, 1u)) return FS_PORT_FAILED;
  for (uint32_t i = 0; i < length; i++) {
    const uint8_t stored = flash->bytes[offset + i];
    const int unstable = bit_of(flash->unstable, (offset + i) / flash->geometry.write_unit);
    into[i] = unstable ? unsettled(flash, stored, mood) : stored;
  }
  return FS_OK;
}

/* Whether the power goes at this moment of the operation at hand. */
static int is_cut(const fs_emulated_flash *flash, fs_cut_kind moment) {
  return flash->cut == moment && flash->operations == flash->cut_after;
}

static void cut_where_due(fs_emulated_flash *flash, fs_cut_kind moment) {
  if (is_cut(flash, moment)) flash->power_cut(flash->cut_context);
}

static void erase_page(fs_emulated_flash *flash, uint32_t page) {
  const uint32_t size = flash->geometry.erase_page;
  const uint32_t units = size / flash->geometry.write_unit;

  flash->wear[page]++;
  if (is_cut(flash, FS_CUT_MIDDLE)) {
    for (uint32_t i = 0; i < units; i++) {
      set_bit(flash->programmed, page * units + i);
      set_bit(flash->unstable, page * units + i);
    }
    return;
  }
  memset(flash->bytes + page * size, flash->geometry.erased_value, size);
  for (uint32_t i = 0; i < units; i++) {
    clear_bit(flash->unstable, page * units + i);
    clear_bit(flash->programmed, page * units + i);
  }
}

static fs_status erase_flash(void *context, uint32_t offset, uint32_t length) {
  fs_emulated_flash *flash = (fs_emulated_flash *)context;
  const uint32_t size = flash->geometry.erase_page;

  if (!in_flash(flash, offset, length, size)) return FS_PORT_FAILED;
  for (uint32_t page = offset / size; page < (offset + length) / size; page++) {
    cut_where_due(flash, FS_CUT_BEFORE);
    if (flash->wear[page] >= flash->geometry.endurance) return FS_PORT_FAILED;
    erase_page(flash, page);
    cut_where_due(flash, FS_CUT_MIDDLE);
    cut_where_due(flash, FS_CUT_AFTER);
    flash->operations++;
  }
  return FS_OK;
}

static void program_unit(fs_emulated_flash *flash, uint32_t unit, const uint8_t *bytes) {
  const uint32_t size = flash->geometry.write_unit;

  set_bit(flash->programmed, unit);
  if (is_cut(flash, FS_CUT_MIDDLE)) set_bit(flash->unstable, unit);
  memcpy(flash->bytes + unit * size, bytes, size);
}

static fs_status program_flash(void *context, uint32_t offset, const uint8_t *bytes, uint32_t length) {
  fs_emulated_flash *flash = (fs_emulated_flash *)context;
  const uint32_t size = flash->geometry.write_unit;

  if (!in_flash(flash, offset, length, size)) return FS_PORT_FAILED;
  for (uint32_t unit = offset / size; unit < (offset + length) / size; unit++) {
    cut_where_due(flash, FS_CUT_BEFORE);
    if (bit_of(flash->programmed, unit) || !reads_erased(flash, unit)) return FS_NOT_ERASED;
    program_unit(flash, unit, bytes);
    bytes += size;
    cut_where_due(flash, FS_CUT_MIDDLE);
    cut_where_due(flash, FS_CUT_AFTER);
    flash->operations++;
  }
  return FS_OK;
}

fs_flash fs_emulated_port(fs_emulated_flash *flash) {
  const fs_emulated_geometry *geometry = &flash->geometry;
  const fs_flash port = {flash,      geometry->size, geometry->erase_page, geometry->write_unit, geometry->erased_value,
                         read_flash, erase_flash,    program_flash};
  return port;
}
