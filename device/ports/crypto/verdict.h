#ifndef FIELDSEAL_VERDICT_H
#define FIELDSEAL_VERDICT_H

#include "fieldseal/status.h"

/*
 * What a library said about a signature, turned into the two evidences of the crypto port. `said` is read twice: one skipped
 * instruction leaves at least one of them wrong.
 */
static inline fs_status fs_verdict(const volatile int *said, int good, uint32_t *again) {
  if (*said != good) return FS_PORT_FAILED;
  if (*said == good) *again = FS_CONFIRMED;
  return FS_OK;
}

#endif
