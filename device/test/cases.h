#ifndef FIELDSEAL_TEST_CASES_H
#define FIELDSEAL_TEST_CASES_H

#include "record.h"

/* The cases that this program knows; 1, or 0 where the kind is none of them or the record is not in its form. */
int run_case(uint8_t kind, record *from);

#endif
