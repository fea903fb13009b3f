/* Reads one record of a case file: numbers big-endian, bytes with their length before them (4 bytes). */
#ifndef FIELDSEAL_TEST_RECORD_H
#define FIELDSEAL_TEST_RECORD_H

#include "fieldseal/status.h"

typedef struct {
  const uint8_t *at;
  const uint8_t *end;
  /* 1 where something was asked for that the record does not have. */
  int short_of;
} record;

uint8_t take_u8(record *from);
uint32_t take_u32(record *from);
uint64_t take_u64(record *from);
/* `length` bytes where they lie; zeros where the record is too short. */
const uint8_t *take_raw(record *from, uint32_t length);
fs_bytes take_bytes(record *from);

#endif
