#include "cases.h"
#include "crypto-cases.h"
#include "unit-cases.h"

int run_case(uint8_t kind, record *from) { return run_crypto_case(kind, from) || run_unit_case(kind, from); }
