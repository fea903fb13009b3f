/*
 * The decision of a unit (twelve steps, docs/refusals.md), the same as that of src/unit: refusal by refusal, and over the
 * same flash layout and marks. No heap, no global state: everything is in the caller's fs_device and buffers.
 */
#ifndef FIELDSEAL_KIT_H
#define FIELDSEAL_KIT_H

#include "class.h"
#include "flash-port.h"

/* Body of one record of marks (src/unit/marks-record.ts): 256 bytes, 352 where the class has a policy area. */
#define FS_MARKS_MAX 352

/* Nothing runs; the recovery image runs. Otherwise what runs is the slot with that index. */
#define FS_NO_SLOT (-1)
#define FS_RECOVERY 2

/* A unit under power. The caller owns it, zeroed, and fills in the first part before fs_open. */
typedef struct {
  const fs_class *unit_class;
  const fs_crypto *crypto;
  const fs_flash *flash;
  /*
   * Memory that only the kit writes while a call runs, FS_WORK_MIN bytes and at least as many as the longest envelope that
   * is kept with an image. An envelope for fs_install must not lie in it.
   */
  uint8_t *work;
  uint32_t work_size;

  /* The kit's own from here on. */
  uint32_t round;
  uint16_t position;
  uint8_t bank;
  uint8_t marks_read;
  uint8_t settled;
  /* FS_NO_SLOT, 0, 1 or FS_RECOVERY: what fs_start chose. Set it anew where a power cycle does not pass through fs_open. */
  int8_t running;
  /* The newest marks as they stand in their record. */
  uint8_t marks[FS_MARKS_MAX];
} fs_device;

#define FS_WORK_MIN 256u

/* What is offered. Nobody but the kit may write to it while it is judged. */
typedef struct {
  fs_bytes envelope;
  /*
   * The image of a detached envelope: `read` copies `length` bytes from `offset`, FS_OK or FS_PORT_FAILED. Null where there
   * is none.
   */
  fs_status (*read)(void *context, uint32_t offset, uint8_t *into, uint32_t length);
  void *context;
  uint32_t image_size;
  /* Seconds since 1970 by a clock that the unit trusts; judged where `has_now` is set and the class has a clock. */
  uint64_t now;
  uint8_t has_now;
} fs_offer;

typedef enum { FS_NEW_INSTALL = 0, FS_RESUME = 1, FS_ALREADY_THERE = 2 } fs_effect;

/* What an accepted envelope asks for. */
typedef struct {
  /* FS_CONFIRMED where every step left its evidence; a caller compares it beside the returned status. */
  uint32_t confirmed;
  fs_effect effect;
  /* The slot that it goes to, or that holds it already. */
  uint8_t slot;
  uint64_t sequence_number;
  uint32_t security_version;
  /* SHA-256 over the byte string of the manifest, with its header. */
  uint8_t manifest_digest[32];
  uint32_t image_size;
  uint8_t image_digest[32];
} fs_plan;

/*
 * Reads the marks of a unit; programs nothing. FS_OK also where there are none that this unit wrote: then every offer is
 * refused, and only a recovery image starts. FS_MISUSE where class, flash and work do not fit together.
 */
fs_status fs_open(fs_device *device);

/* Writes the first marks of a unit that has none: on the production line, once. */
fs_status fs_begin_life(fs_device *device);

/*
 * What the unit would say to an offer, steps 1 to 9, without changing anything. FS_OK, FS_INCOMPLETE or a refusal. `plan` is
 * filled in as far as the steps went.
 */
fs_status fs_check(fs_device *device, const fs_offer *offer, fs_plan *plan);

/*
 * The same decision by marks that are given and not read from flash: `marks` is the body of a record, null for a unit whose
 * marks are lost; `running` as in fs_device. Reads no flash.
 */
fs_status fs_check_marks(const fs_class *unit_class, const fs_crypto *crypto, const uint8_t *marks, int8_t running,
                         const fs_offer *offer, fs_plan *plan);

/* Steps 1 to 10: decides, fills the free slot, reads it back, marks it ready. FS_INCOMPLETE as fs_check. */
fs_status fs_install(fs_device *device, const fs_offer *offer, fs_plan *plan);

/* What was started, and why others were passed over. */
typedef struct {
  /* FS_CONFIRMED only where an image may run: compare it before jumping, beside the returned status. */
  uint32_t confirmed;
  /* 0, 1, FS_RECOVERY or FS_NO_SLOT. */
  int8_t running;
  uint8_t on_trial;
  /* Refusals of slots that were not started, in the order in which they were tried. */
  uint8_t passed_count;
  uint8_t passed_slot[4];
  fs_status passed[4];
  uint64_t sequence_number;
  uint32_t image_size;
  uint8_t image_digest[32];
} fs_started;

/* Step 11: chooses what runs. FS_OK, or 'nothing-to-start'. Marks an image as on trial before it says that it runs. */
fs_status fs_start(fs_device *device, fs_started *started);

/* Step 12: the running image passed its self-test. Raises the floors. FS_OK also where it was kept before. */
fs_status fs_keep(fs_device *device);

/* Raises floors; none ever falls. Refused while no slot would be left that may start. */
fs_status fs_raise_floors(fs_device *device, const fs_floors *floors);

#endif
