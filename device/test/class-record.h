/* A class of units, its keys and its flash, out of a record: what the provisioning header gives a bootloader at build time. */
#ifndef FIELDSEAL_TEST_CLASS_RECORD_H
#define FIELDSEAL_TEST_CLASS_RECORD_H

#include "../ports/crypto/software-keys.h"
#include "../ports/flash/flash-emulated.h"
#include "fieldseal/class.h"
#include "record.h"

#define CLASS_ITEMS 16u
/* Content keys have slots from here on. */
#define CONTENT_SLOT 100u

/* Points into itself, and into the bytes of the record. */
typedef struct {
  fs_class unit_class;
  uint8_t class_ids[CLASS_ITEMS][16];
  fs_anchor anchors[CLASS_ITEMS];
  fs_named_key mac_keys[CLASS_ITEMS];
  fs_named_key content_keys[CLASS_ITEMS];
  uint8_t denied[CLASS_ITEMS][32];
  fs_software_key keys[2 * CLASS_ITEMS + 1];
  uint32_t key_count;
  fs_emulated_geometry geometry;
} class_record;

/* 1, or 0 where the record is too short or holds more than fits. */
int take_class(record *from, class_record *into);

#endif
