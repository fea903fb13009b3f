/* What the files share that know the unit beside the envelope: its marks, its flash, what it is offered. */
#ifndef FIELDSEAL_LIFE_H
#define FIELDSEAL_LIFE_H

#include "internal.h"

/* fit.c: the envelope as it is kept. */
uint32_t fs_kept_size(const fs_judge *judge);
void fs_write_kept(const fs_judge *judge, uint8_t *into);

/* Who is offered something: what fs_judge says of `marks`, `running` and `room`. */
typedef struct {
  const fs_class *unit;
  const fs_crypto *crypto;
  const uint8_t *marks;
  /* Where the envelope goes that is kept for start-up, of `room` bytes; null where none is kept. */
  uint8_t *keep_into;
  uint32_t room;
  int8_t running;
} fs_view;

/* Where the image comes from, and bytes of the envelope as it is kept. */
typedef struct {
  fs_bytes bytes;
  uint32_t kept;
  fs_from from;
  const fs_offer *offer;
  const fs_crypto *crypto;
  /* `iv` is null where it is not encrypted; `running` is there while it is decrypted. */
  fs_cipher cipher;
  fs_ctr *running;
} fs_payload;

/* Bytes of an image that are moved at a time. */
#define FS_PIECE 64u
/* evidence.c: 0 where the second look confirms the first. */
uint32_t fs_look_again(const fs_judge *judge);

/* fit.c: steps 5 to 8, and the floor at start-up. */
void fs_follow(fs_judge *judge, fs_payload *payload);
/* check.c: begins to judge an envelope, offered or kept. */
void fs_begin(fs_judge *judge, const fs_class *unit, const fs_crypto *crypto, fs_bytes envelope);
/* Steps 1 to 8 and the second look at them. A kept envelope has no payload: null. */
fs_status fs_decide(fs_judge *judge, fs_payload *payload, uint32_t *confirmed);
/* The same for what is offered. */
fs_status fs_decide_offer(const fs_view *view, const fs_offer *offer, fs_plan *plan, fs_payload *payload);
fs_status fs_feed(const fs_payload *payload, uint32_t offset, uint8_t *into, uint32_t length);
uint32_t fs_payload_size(const fs_payload *payload);
/* Step 8 for a ciphertext: its length, and its digest where one is named. */
fs_status fs_judge_ciphertext(const fs_payload *payload, const fs_plan *plan);
/* Begins to decrypt what is fed from now on, and ends it. */
fs_status fs_begin_decryption(fs_payload *payload, fs_ctr *state);
void fs_end_decryption(fs_payload *payload);
fs_status fs_judge_offered(fs_payload *payload, fs_plan *plan);

/* Marks: the body of a record, byte by byte as src/unit/marks-record.ts has it. */
enum { FS_EMPTY = 0, FS_FILLING, FS_READY, FS_ON_TRIAL, FS_KEPT };
#define FS_MARK_SLOTS 32u
#define FS_MARK_SLOT_SIZE 45u
#define FS_MARK_FALLEN 122u
#define FS_MARK_FALLEN_SIZE 33u
#define FS_MARK_FALLEN_COUNT 4u
#define FS_MARK_SEQUENCE_FLOOR 12u
#define FS_MARK_SECURITY_FLOOR 20u
#define FS_MARK_GENERATION_FLOOR 24u
#define FS_MARK_PROGRESS 28u
#define FS_MARK_TRUST 256u
#define FS_CHECKPOINTS 16u
#define FS_MARK(marks, slot) ((marks) + FS_MARK_SLOTS + (slot) * FS_MARK_SLOT_SIZE)
#define FS_MARK_STATE(mark) ((mark)[0])
#define FS_MARK_NUMBER(mark) fs_get((mark) + 1, 8)
#define FS_MARK_DIGEST(mark) ((mark) + 9)
#define FS_MARK_LENGTH(mark) fs_get32((mark) + 41, 4)

/* flash.c. A slot that is filled from an offer, or from `source` in flash. */
typedef struct {
  fs_span slot;
  uint32_t size;
  uint32_t source;
  const fs_payload *payload;
} fs_fill;
fs_status fs_read_flash(const fs_device *device, uint32_t offset, uint8_t *into, uint32_t length);
uint32_t fs_flash_is(const fs_device *device, uint32_t offset, uint32_t length, uint8_t value);
uint32_t fs_area_holds(const fs_device *device, fs_span area, const uint8_t *bytes, uint32_t length);
fs_status fs_digest_of_area(const fs_device *device, uint32_t offset, uint32_t length, uint8_t digest[32]);
fs_status fs_replace_area(const fs_device *device, fs_span area, const uint8_t *bytes, uint32_t length);
fs_status fs_fill_slot(fs_device *device, const fs_fill *fill, uint32_t from);

/* journal.c */
uint32_t fs_records_in_bank(const fs_device *device);
void fs_read_marks(fs_device *device);
fs_status fs_write_marks(fs_device *device);
/* Makes the newest marks read the same for ever. */
fs_status fs_settle(fs_device *device);

/* carry.c: steps 1 to 10 for an offer. Nothing is written to the slot `running`. */
fs_status fs_carry_out(fs_device *device, int8_t running, const fs_offer *offer, fs_plan *plan);

/* life.c, start.c, staged.c, keep.c */
/* The decision about an offer; what is kept for start-up goes to `keep_into` unless that is null. */
fs_status fs_decide_for(const fs_device *device, int8_t running, uint8_t *keep_into, const fs_offer *offer, fs_plan *plan,
                        fs_payload *payload);
uint32_t fs_candidates(const fs_device *device, uint8_t order[2]);
/* What fell back is remembered, latest first; `again` counts one more try, else it is forgotten. */
void fs_remember_fallen(fs_device *device, const uint8_t digest[32], uint32_t again);
void fs_set_mark(uint8_t *mark, uint8_t state, uint64_t number, const uint8_t digest[32], uint32_t length);
/* Marks a slot as being filled with a release, from its beginning. */
fs_status fs_begin_filling(fs_device *device, uint8_t *mark, uint64_t number, const uint8_t digest[32]);
uint32_t fs_security_floor(const fs_device *device);
/* What a slot holds that was verified. `image_digest` lies in the work memory. */
typedef struct {
  uint32_t confirmed;
  uint32_t security_version;
  uint64_t sequence_number;
  uint32_t image_size;
  const uint8_t *image_digest;
} fs_facts;
/* Moves a staged image into the running slot and verifies it there; 0 where there was none to move. */
uint32_t fs_move_in(fs_device *device, fs_started *started, fs_facts *facts);
/* Verifies a slot; one that fails is passed over. */
uint32_t fs_judge_into(fs_device *device, fs_started *started, uint32_t slot, const uint8_t *mark, fs_facts *facts);
/* In the marks that are to be written: the slot counts as empty. */
void fs_empty_slot(fs_device *device, uint32_t slot);
#define FS_RUN_SLOT 0u
#define FS_STAGING_SLOT 1u
/* Verifies what a slot holds against its mark. */
fs_status fs_judge_slot(fs_device *device, uint32_t slot, const uint8_t *mark, uint32_t security_floor,
                        fs_facts *facts);

#endif
