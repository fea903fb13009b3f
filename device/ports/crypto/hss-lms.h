/* HSS/LMS verification in software, over the SHA-256 of whatever crypto port it stands in. */
#ifndef FIELDSEAL_HSS_LMS_H
#define FIELDSEAL_HSS_LMS_H

#include "fieldseal/crypto-port.h"

/* `verify_hss` of a crypto port: RFC 8554 section 6.3 with the parameter sets of RFC 8554 and RFC 9858 over SHA-256. */
fs_status fs_hss_verify(const fs_crypto *crypto, fs_bytes key, const fs_bytes *parts, uint32_t count, fs_bytes signature,
                        uint32_t *again);

#endif
