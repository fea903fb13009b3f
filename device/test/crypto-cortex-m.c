#include "../ports/crypto/crypto-bearssl.h"
#include "crypto-cases.h"

fs_crypto crypto_under_test(void *context) { return fs_crypto_bearssl((fs_software_crypto *)context); }
