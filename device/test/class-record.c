#include "class-record.h"

#include <string.h>

static uint32_t take_count(record *from) {
  const uint32_t count = take_u32(from);

  if (count <= CLASS_ITEMS) return count;
  from->short_of = 1;
  return 0;
}

static void add_key(class_record *into, fs_key_slot slot, fs_bytes key) {
  into->keys[into->key_count].slot = slot;
  into->keys[into->key_count].key = key;
  into->key_count++;
}

static void take_identity(record *from, class_record *into) {
  fs_class *unit = &into->unit_class;

  unit->algorithm = (int32_t)take_u32(from);
  unit->vendor_id = take_raw(from, 16);
  unit->device_id = take_raw(from, 16);
  unit->class_id_count = take_count(from);
  for (uint32_t i = 0; i < unit->class_id_count; i++) memcpy(into->class_ids[i], take_raw(from, 16), 16);
  unit->class_ids = (const uint8_t(*)[16])into->class_ids;
}

static void take_anchors(record *from, class_record *into) {
  into->unit_class.anchor_count = take_count(from);
  for (uint32_t i = 0; i < into->unit_class.anchor_count; i++) {
    into->anchors[i].spare = take_u8(from);
    into->anchors[i].name = take_bytes(from);
    into->anchors[i].spki = take_bytes(from);
  }
  into->unit_class.anchors = into->anchors;
}

static uint32_t take_keys(record *from, class_record *into, fs_named_key *keys, fs_key_slot first) {
  const uint32_t count = take_count(from);

  for (uint32_t i = 0; i < count; i++) {
    keys[i].id = take_bytes(from);
    keys[i].slot = first + i;
    add_key(into, first + i, take_bytes(from));
  }
  return count;
}

static void take_rules(record *from, class_record *into) {
  fs_class *unit = &into->unit_class;

  unit->denied_count = take_count(from);
  for (uint32_t i = 0; i < unit->denied_count; i++) memcpy(into->denied[i], take_raw(from, 32), 32);
  unit->denied = (const uint8_t(*)[32])into->denied;
  unit->trial = take_u8(from);
  unit->has_clock = take_u8(from);
  unit->trial_attempts = take_u32(from);
  unit->floors.sequence_number = take_u64(from);
  unit->floors.security_version = take_u32(from);
  unit->floors.signer_generation = take_u32(from);
}

static fs_span take_span(record *from) {
  fs_span span;

  span.offset = take_u32(from);
  span.size = take_u32(from);
  return span;
}

static void take_memory(record *from, class_record *into) {
  fs_class *unit = &into->unit_class;
  fs_map *map = &unit->map;

  map->shape = take_u8(from) ? FS_STAGED : FS_SLOTS;
  map->slots[0] = take_span(from);
  map->slots[1] = take_span(from);
  map->envelopes[0] = take_span(from);
  map->envelopes[1] = take_span(from);
  map->recovery = take_span(from);
  map->state = take_span(from);
  map->has_policy = take_u8(from);
  unit->recovery_size = take_u32(from);
  memcpy(unit->recovery_digest, take_raw(from, 32), 32);
  into->geometry.size = take_u32(from);
  into->geometry.erase_page = take_u32(from);
  into->geometry.write_unit = take_u32(from);
  into->geometry.endurance = take_u32(from);
  into->geometry.erased_value = take_u8(from);
}

int take_class(record *from, class_record *into) {
  fs_class *unit = &into->unit_class;

  memset(into, 0, sizeof *into);
  take_identity(from, into);
  take_anchors(from, into);
  unit->mac_key_count = take_keys(from, into, into->mac_keys, 0);
  unit->mac_keys = into->mac_keys;
  unit->content_key_count = take_keys(from, into, into->content_keys, CONTENT_SLOT);
  unit->content_keys = into->content_keys;
  take_rules(from, into);
  take_memory(from, into);
  add_key(into, FS_MARKS_KEY, take_bytes(from));
  return !from->short_of;
}
