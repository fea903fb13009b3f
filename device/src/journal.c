/*
 * The marks of a unit: an append-only journal in two banks that take turns, the same as that of src/unit/marks-journal.ts.
 * A record counts from its first commit mark on; nobody acts on one before its third mark stands.
 */
#include "life.h"

#define TAG_SIZE 32u
#define REREADS 64u
#define COMMITS 3u
#define USED 0x08u
#define FIRST 0x01u
#define SECOND 0x02u
#define FIRM 0x06u

/* Sizes of a record on this flash. */
typedef struct {
  uint32_t body;
  uint32_t sealed;
  uint32_t whole;
  uint32_t bank;
  uint32_t capacity;
} form;

static form form_of(const fs_device *device) {
  uint32_t unit = device->flash->write_unit;
  uint32_t page = device->flash->erase_page;
  form sizes;
  sizes.body = device->unit_class->map.has_policy ? FS_MARKS_MAX : 256;
  sizes.sealed = (sizes.body + TAG_SIZE + unit - 1) / unit * unit;
  sizes.whole = sizes.sealed + COMMITS * unit;
  sizes.bank = device->unit_class->map.state.size / page / 2 * page;
  sizes.capacity = sizes.bank / sizes.whole;
  return sizes;
}

uint32_t fs_records_in_bank(const fs_device *device) { return form_of(device).capacity; }

static uint32_t offset_of(const fs_device *device, const form *sizes, uint32_t bank, uint32_t position) {
  return device->unit_class->map.state.offset + bank * sizes->bank + position * sizes->whole;
}

/* Which commit marks stand at a position, and whether anything does. */
static uint32_t look_at(const fs_device *device, const form *sizes, uint32_t bank, uint32_t position) {
  uint8_t erased = device->flash->erased_value;
  uint32_t unit = device->flash->write_unit;
  uint32_t at = offset_of(device, sizes, bank, position);
  uint32_t found = fs_flash_is(device, at, sizes->whole, erased) ? 0 : USED;
  uint32_t i;
  for (i = 0; i < COMMITS && found != 0; i++)
    if (fs_flash_is(device, at + sizes->sealed + i * unit, unit, (uint8_t)~erased)) found |= 1u << i;
  return found;
}

static fs_status tag_of(const fs_device *device, const uint8_t *body, uint32_t length, uint8_t tag[TAG_SIZE]) {
  static const uint8_t CONTEXT[] = {'f', 'i', 'e', 'l', 'd', 's', 'e', 'a', 'l', ' ', 'm', 'a', 'r', 'k', 's', ' ', '1'};
  fs_bytes parts[2];
  parts[0].bytes = CONTEXT;
  parts[0].length = sizeof CONTEXT;
  parts[1].bytes = body;
  parts[1].length = length;
  return device->crypto->hmac_sha256(device->crypto->context, FS_MARKS_KEY, parts, 2, tag);
}

/* Whether this unit wrote the record at that position; its body then is in `body`, of FS_MARKS_MAX bytes. */
static uint32_t load(const fs_device *device, const form *sizes, uint32_t bank, uint32_t position, uint8_t *body) {
  static const uint8_t MAGIC[] = {'F', 'S', 'M', 'K'};
  uint8_t stored[TAG_SIZE];
  uint8_t tag[TAG_SIZE];
  uint32_t at = offset_of(device, sizes, bank, position);
  if (fs_read_flash(device, at, body, sizes->body) != FS_OK) return 0;
  if (fs_read_flash(device, at + sizes->body, stored, TAG_SIZE) != FS_OK) return 0;
  if (memcmp(body, MAGIC, sizeof MAGIC) != 0 || body[4] != (sizes->body == 256 ? 1 : 2)) return 0;
  if (fs_get32(body + 6, 2) != position || tag_of(device, body, sizes->body, tag) != FS_OK) return 0;
  return fs_same(tag, stored, TAG_SIZE) == FS_OK;
}

/* The newest record of a bank. */
typedef struct {
  uint32_t round;
  uint32_t position;
  uint32_t end;
  uint8_t found;
  uint8_t firm;
} newest;

static newest newest_of(const fs_device *device, const form *sizes, uint32_t bank, uint8_t *body) {
  newest one = {0, 0, 0, 0, 0};
  uint32_t position = sizes->capacity;
  while (position-- > 0) {
    uint32_t stands = look_at(device, sizes, bank, position);
    if (stands == 0) continue;
    if (one.end == 0) one.end = position + 1;
    if ((stands & FIRST) == 0 || !load(device, sizes, bank, position, body)) continue;
    one.found = 1;
    one.position = position;
    one.round = fs_get32(body + 8, 4);
    one.firm = (stands & FIRM) == FIRM;
    return one;
  }
  return one;
}

/* Whether a bank that is not the newest one is blank, or was written before it: its first record says so. */
static uint32_t is_old(const fs_device *device, const form *sizes, uint32_t bank, uint8_t *body) {
  uint32_t position;
  for (position = 0; position < sizes->capacity; position++) {
    uint32_t stands = look_at(device, sizes, bank, position);
    if (stands == 0) continue;
    return position == 0 && (stands & FIRST) != 0 && load(device, sizes, bank, 0, body);
  }
  return 1;
}

void fs_read_marks(fs_device *device) {
  form sizes = form_of(device);
  newest banks[2];
  const newest *best;
  uint32_t other;
  banks[0] = newest_of(device, &sizes, 0, device->marks);
  banks[1] = newest_of(device, &sizes, 1, device->marks);
  device->bank = banks[1].found && (!banks[0].found || banks[1].round > banks[0].round);
  best = &banks[device->bank];
  other = 1u - device->bank;
  device->round = 0;
  device->position = (uint16_t)sizes.capacity;
  device->marks_read = 0;
  device->settled = 1;
  if (!best->found) {
    device->bank = 0;
    return;
  }
  device->round = best->round;
  device->position = (uint16_t)best->end;
  device->settled =
      best->firm && best->end == best->position + 1 && is_old(device, &sizes, other, device->marks);
  device->marks_read = load(device, &sizes, device->bank, best->position, device->marks) ? 1 : 0;
}

/* The sealed part of the record that is to be written, from `at` on: body, tag, erased value. */
static void sealed_piece(const fs_device *device, const form *sizes, const uint8_t tag[TAG_SIZE], uint32_t at,
                         uint8_t piece[FS_PIECE], uint32_t length) {
  uint32_t i;
  for (i = 0; i < length; i++, at++) {
    if (at < sizes->body)
      piece[i] = device->marks[at];
    else
      piece[i] = at - sizes->body < TAG_SIZE ? tag[at - sizes->body] : device->flash->erased_value;
  }
}

/* Programs the sealed part, reads it back, then one commit mark after the other. */
static FS_APART fs_status append(const fs_device *device, const form *sizes, const uint8_t tag[TAG_SIZE]) {
  const fs_flash *flash = device->flash;
  uint32_t offset = offset_of(device, sizes, device->bank, device->position);
  uint8_t piece[FS_PIECE];
  uint8_t held[FS_PIECE];
  uint32_t reading;
  uint32_t i;
  fs_status status = FS_OK;
  for (reading = 0; reading < 2; reading++) {
    uint32_t at;
    for (at = 0; at < sizes->sealed; at += FS_PIECE) {
      uint32_t part = sizes->sealed - at < FS_PIECE ? sizes->sealed - at : FS_PIECE;
      sealed_piece(device, sizes, tag, at, piece, part);
      status = reading ? fs_read_flash(device, offset + at, held, part)
                       : flash->program(flash->context, offset + at, piece, part);
      if (status != FS_OK) return status;
      if (reading && fs_same(piece, held, part) != FS_OK) return FS_NOT_ERASED;
    }
  }
  memset(piece, (uint8_t)~flash->erased_value, sizeof piece);
  for (i = 0; i < COMMITS && status == FS_OK; i++)
    status = flash->program(flash->context, offset + sizes->sealed + i * flash->write_unit, piece, flash->write_unit);
  return status;
}

/* A bank is left only when a record in it has its third mark; it is begun again only when none has its second. */
static FS_APART uint32_t may_leave(const fs_device *device, const form *sizes) {
  uint8_t body[FS_MARKS_MAX];
  uint32_t i;
  for (i = 0; i < REREADS; i++) {
    uint32_t certain = 0;
    uint32_t position;
    for (position = 0; position < sizes->capacity; position++) {
      uint32_t stands = look_at(device, sizes, device->bank, position);
      if ((stands & FIRST) == 0 || !load(device, sizes, device->bank, position, body)) continue;
      if ((stands & FIRM) == FIRM) return 1;
      if ((stands & SECOND) != 0) certain = 1;
    }
    if (!certain) return 0;
  }
  return 1;
}

static fs_status turn(fs_device *device, const form *sizes) {
  const fs_flash *flash = device->flash;
  if (!device->marks_read || may_leave(device, sizes)) device->bank ^= 1u;
  device->round++;
  device->position = 0;
  return flash->erase(flash->context, offset_of(device, sizes, device->bank, 0), sizes->bank);
}

static fs_status write_somewhere(fs_device *device, const form *sizes) {
  uint8_t tag[TAG_SIZE];
  uint32_t turns;
  for (turns = 0; turns < 3; turns++) {
    fs_status status;
    for (; device->position < sizes->capacity; device->position++) {
      fs_put32(device->marks + 6, 2, device->position);
      fs_put32(device->marks + 8, 4, device->round);
      status = tag_of(device, device->marks, sizes->body, tag);
      if (status == FS_OK) status = append(device, sizes, tag);
      if (status == FS_OK) {
        device->position++;
        return FS_OK;
      }
      if (status != FS_NOT_ERASED) return status;
    }
    status = turn(device, sizes);
    if (status != FS_OK) return status;
  }
  return FS_PORT_FAILED;
}

/* Writes the marks that the device holds. When it gives FS_OK they count, whatever happens next; else the old ones do. */
fs_status fs_write_marks(fs_device *device) {
  form sizes = form_of(device);
  fs_status status = write_somewhere(device, &sizes);
  if (status != FS_OK) {
    fs_read_marks(device);
    return FS_PORT_FAILED;
  }
  device->marks_read = 1;
  device->settled = 1;
  return FS_OK;
}

fs_status fs_settle(fs_device *device) {
  return device->marks_read && !device->settled ? fs_write_marks(device) : FS_OK;
}
