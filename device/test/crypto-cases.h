#ifndef FIELDSEAL_TEST_CRYPTO_CASES_H
#define FIELDSEAL_TEST_CRYPTO_CASES_H

#include "fieldseal/crypto-port.h"
#include "record.h"

/* The port that this program is built with. */
fs_crypto crypto_under_test(void *context);

/* One call of the crypto port as a case file has it; 1, or 0 where the kind is none of these. */
int run_crypto_case(uint8_t kind, record *from);

#endif
