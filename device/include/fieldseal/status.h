/* The one convention of status, and the small types that the whole kit shares. */
#ifndef FIELDSEAL_STATUS_H
#define FIELDSEAL_STATUS_H

#include <stdint.h>

#include "refusals.h"

/*
 * What a function of the kit or of a port returns: FS_OK, a refusal (refusals.h: step << 8 | number within the step,
 * never above 0xffff), or one of the values below. FS_OK is neither 0 nor near any other value, so that no word left
 * over in a register passes for it.
 */
typedef uint32_t fs_status;

#define FS_OK UINT32_C(0xa5c33c96)
/* The second evidence of a good verdict: written apart from the returned FS_OK, and compared apart from it. */
#define FS_CONFIRMED UINT32_C(0x5a1ec769)

/* Nothing was refuted, but the detached image was not at hand. */
#define FS_INCOMPLETE UINT32_C(0x00010001)
/* What the caller gave cannot be used: a null pointer, a buffer that is too small, a memory map that is not sound. */
#define FS_MISUSE UINT32_C(0x00010002)
/* Of a port: the order was not carried out. */
#define FS_PORT_FAILED UINT32_C(0x00010003)
/* Of the flash port: a write unit was programmed since its page was erased. */
#define FS_NOT_ERASED UINT32_C(0x00010004)

/* Number of the step, 1 to 12, that a refusal belongs to; 0 for every other status. */
#define FS_STEP_OF(status) ((status) <= UINT32_C(0xffff) ? (status) >> 8 : UINT32_C(0))

/* Bytes that somebody else holds. */
typedef struct {
  const uint8_t *bytes;
  uint32_t length;
} fs_bytes;

/* A part of the flash: bytes from the start of what the flash port shows. */
typedef struct {
  uint32_t offset;
  uint32_t size;
} fs_span;

#endif
