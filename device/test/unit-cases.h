#ifndef FIELDSEAL_TEST_UNIT_CASES_H
#define FIELDSEAL_TEST_UNIT_CASES_H

#include "record.h"

/* Something done to a unit, or asked of it; 1, or 0 where the kind is none of these. */
int run_unit_case(uint8_t kind, record *from);

#endif
