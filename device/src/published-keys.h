/*
 * Keys whose private halves are printed in standards, by the first bytes of the SHA-256 of SubjectPublicKeyInfo. Written
 * from the table in src/x509 by `npm run docs`; never by hand.
 */
#ifndef FIELDSEAL_PUBLISHED_KEYS_H
#define FIELDSEAL_PUBLISHED_KEYS_H

#include <stdint.h>

#define FS_PUBLISHED_KEYS 6u
static const uint8_t fs_published_keys[FS_PUBLISHED_KEYS][8] = {
    /* signer of draft-ietf-suit-manifest appendix B, also in trust-domains and firmware-encryption */
    {0xad, 0xe2, 0xda, 0xd6, 0x11, 0x71, 0x7e, 0x91},
    /* dependent signer of draft-ietf-suit-firmware-encryption section 9.4 */
    {0xb1, 0xe6, 0xd3, 0x7b, 0xe3, 0x5d, 0x42, 0x46},
    /* receiver of draft-ietf-suit-firmware-encryption section 6.1.3 */
    {0x6d, 0xfa, 0x30, 0x12, 0xee, 0x45, 0xad, 0x4e},
    /* HSS key of RFC 8554 appendix F, test case 2, whose seeds stand there */
    {0x75, 0x95, 0x3b, 0xb3, 0xe8, 0xe0, 0x58, 0xf8},
    /* top tree of RFC 8554 appendix F, test case 2, as a key of one level: COSE example hashsig-01 */
    {0xf6, 0x95, 0x00, 0x1f, 0xf7, 0x3e, 0x15, 0x08},
    /* HSS key of RFC 9858 appendix A.1, whose seed stands there */
    {0x10, 0x79, 0x1d, 0x3d, 0x8f, 0xcd, 0x55, 0xc9},
};

#endif
