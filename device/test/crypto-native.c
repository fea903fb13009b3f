#include "../ports/crypto/crypto-mbedtls.h"
#include "crypto-cases.h"

fs_crypto crypto_under_test(void *context) { return fs_crypto_mbedtls((fs_software_crypto *)context); }
