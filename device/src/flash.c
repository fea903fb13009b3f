/* Areas of the flash: read in pieces, so that memory does not grow with the image. */
#include "life.h"

/* Bytes that are compared with one value at a time; the journal does so at the deepest place of its stack. */
#define COMPARED 32u

static uint32_t smaller(uint32_t a, uint32_t b) { return a < b ? a : b; }

fs_status fs_read_flash(const fs_device *device, uint32_t offset, uint8_t *into, uint32_t length) {
  return device->flash->read(device->flash->context, offset, into, length);
}

/* Whether the flash holds nothing but one value there. */
uint32_t fs_flash_is(const fs_device *device, uint32_t offset, uint32_t length, uint8_t value) {
  uint8_t piece[COMPARED];
  uint32_t difference = 0;
  while (length > 0) {
    uint32_t part = smaller(length, COMPARED);
    uint32_t i;
    if (fs_read_flash(device, offset, piece, part) != FS_OK) return 0;
    for (i = 0; i < part; i++) difference |= (uint32_t)(piece[i] ^ value);
    offset += part;
    length -= part;
  }
  return difference == 0;
}

/* Whether an area begins with these bytes and is erased behind them. */
uint32_t fs_area_holds(const fs_device *device, fs_span area, const uint8_t *bytes, uint32_t length) {
  uint8_t piece[FS_PIECE];
  uint32_t at;
  for (at = 0; at < length; at += FS_PIECE) {
    uint32_t part = smaller(length - at, FS_PIECE);
    if (fs_read_flash(device, area.offset + at, piece, part) != FS_OK) return 0;
    if (fs_same(piece, bytes + at, part) != FS_OK) return 0;
  }
  return fs_flash_is(device, area.offset + length, area.size - length, device->flash->erased_value);
}

/* SHA-256 over the beginning of an area. */
fs_status fs_digest_of_area(const fs_device *device, uint32_t offset, uint32_t length, uint8_t digest[32]) {
  const fs_crypto *crypto = device->crypto;
  fs_sha256 state;
  uint8_t piece[FS_PIECE];
  fs_status status = crypto->sha256_start(crypto->context, &state);
  memset(digest, 0, 32);
  while (length > 0 && status == FS_OK) {
    uint32_t part = smaller(length, FS_PIECE);
    status = fs_read_flash(device, offset, piece, part);
    if (status == FS_OK) status = crypto->sha256_update(crypto->context, &state, piece, part);
    offset += part;
    length -= part;
  }
  return status == FS_OK ? crypto->sha256_finish(crypto->context, &state, digest) : status;
}

/* Programs up to FS_PIECE bytes, the last write unit padded with the erased value. */
static fs_status program_piece(const fs_device *device, uint32_t offset, uint8_t piece[FS_PIECE], uint32_t length) {
  const fs_flash *flash = device->flash;
  while (length % flash->write_unit != 0) piece[length++] = flash->erased_value;
  return flash->program(flash->context, offset, piece, length);
}

static fs_status erase(const fs_device *device, uint32_t offset, uint32_t length) {
  return length == 0 ? FS_OK : device->flash->erase(device->flash->context, offset, length);
}

fs_status fs_replace_area(const fs_device *device, fs_span area, const uint8_t *bytes, uint32_t length) {
  uint8_t piece[FS_PIECE];
  uint32_t at;
  fs_status status = erase(device, area.offset, area.size);
  for (at = 0; at < length && status == FS_OK; at += FS_PIECE) {
    uint32_t part = smaller(length - at, FS_PIECE);
    memcpy(piece, bytes + at, part);
    status = program_piece(device, area.offset + at, piece, part);
  }
  return status;
}

/* One page of a slot: erased, then programmed with what the source has for it. */
static FS_APART fs_status fill_page(fs_device *device, const fs_fill *fill, uint32_t at) {
  uint8_t piece[FS_PIECE];
  uint32_t page = device->flash->erase_page;
  uint32_t end = smaller(at + page, fill->size);
  fs_status status = erase(device, fill->slot.offset + at, page);
  for (; at < end && status == FS_OK; at += FS_PIECE) {
    uint32_t part = smaller(end - at, FS_PIECE);
    status = fill->payload != 0 ? fs_feed(fill->payload, at, piece, part)
                                : fs_read_flash(device, fill->source + at, piece, part);
    if (status == FS_OK) status = program_piece(device, fill->slot.offset + at, piece, part);
  }
  return status;
}

/*
 * Fills a slot from a page on and erases what is left of it. At most 16 times it writes down how far it came (src/unit/
 * slots.ts): filling again from there gives the same content.
 */
fs_status fs_fill_slot(fs_device *device, const fs_fill *fill, uint32_t from) {
  uint32_t page = device->flash->erase_page;
  uint32_t pages = (fill->size + page - 1) / page;
  uint32_t stride = (pages + FS_CHECKPOINTS - 1) / FS_CHECKPOINTS;
  uint32_t next;
  for (next = from; next < pages; next++) {
    fs_status status = fill_page(device, fill, next * page);
    if (status == FS_OK && (next + 1) % stride == 0 && next + 1 < pages) {
      fs_put32(device->marks + FS_MARK_PROGRESS, 4, next + 1);
      status = fs_write_marks(device);
    }
    if (status != FS_OK) return status;
  }
  return erase(device, fill->slot.offset + pages * page, fill->slot.size - pages * page);
}
