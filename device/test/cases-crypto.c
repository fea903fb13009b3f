/* Only the crypto port: what a new port is tried with first. */
#include "cases.h"
#include "crypto-cases.h"

int run_case(uint8_t kind, record *from) { return run_crypto_case(kind, from); }
