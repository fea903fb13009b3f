/*
 * What the kit asks of whoever computes: a secure element, a part's hardware, a library. No primitive is the kit's own.
 * Every function returns FS_OK or FS_PORT_FAILED; anything else counts as a failure too. None may keep a pointer.
 */
#ifndef FIELDSEAL_CRYPTO_PORT_H
#define FIELDSEAL_CRYPTO_PORT_H

#include "status.h"

/* COSE algorithms (RFC 9864 2, RFC 8778). */
#define FS_ESP256 (-9)
#define FS_ED25519 (-19)
#define FS_HSS_LMS (-46)
#define FS_HMAC_256 5

/* Memory for one running SHA-256, aligned for any type; the port lays its own state over it. */
#define FS_SHA256_STATE_SIZE 128
typedef union {
  uint8_t bytes[FS_SHA256_STATE_SIZE];
  uint64_t align;
} fs_sha256;

/* A secret key of the unit by the slot that holds it; the kit never sees its bytes. */
typedef uint32_t fs_key_slot;
/* The unit's own key for its marks, 32 bytes, known to nobody else. */
#define FS_MARKS_KEY UINT32_C(0xffffffff)

/* Memory for one AES-CTR decryption under way: the unwrapped content key, and what the port needs beside it. */
#define FS_CTR_STATE_SIZE 288
typedef union {
  uint8_t bytes[FS_CTR_STATE_SIZE];
  uint64_t align;
} fs_ctr;

typedef struct fs_crypto {
  void *context;

  /* SHA-256 (FIPS 180-4). `update` takes any length, 0 too. `finish` writes 32 bytes; the state is done with then. */
  fs_status (*sha256_start)(void *context, fs_sha256 *state);
  fs_status (*sha256_update)(void *context, fs_sha256 *state, const uint8_t *bytes, uint32_t length);
  fs_status (*sha256_finish)(void *context, fs_sha256 *state, uint8_t digest[32]);

  /*
   * ECDSA over P-256 with SHA-256 (RFC 9053 2.1). `point`: x then y, 32 bytes each. `digest`: of what is signed.
   * `signature`: r then s. Must refuse r or s of 0 or not below the order, and points that are not on the curve.
   * `again`: the port writes FS_CONFIRMED there, from the library's result read a second time, and only where it was
   * good; the kit sets it to 0 before. So no single skipped instruction turns a bad signature into a good one.
   */
  fs_status (*verify_p256)(void *context, const uint8_t point[64], const uint8_t digest[32],
                           const uint8_t signature[64], uint32_t *again);

  /*
   * Ed25519 (RFC 8032 5.1.7), S below L required. Must refuse keys and R of small order, and keys whose y is not below
   * 2^255-19: under such a key everybody can sign (docs/porting.md). The message comes in parts that follow each other, `count` of them
   * (4 at most). `again` as above. Null where no class of the product needs it.
   */
  fs_status (*verify_ed25519)(void *context, const uint8_t key[32], const fs_bytes *parts, uint32_t count,
                              const uint8_t signature[64], uint32_t *again);

  /*
   * HSS/LMS over SHA-256 (RFC 8554 6.3, RFC 9858). `key`: an HSS public key, its count of levels first, 60 or 52 bytes; the
   * parts as above. The length of the signature is any. `crypto`: this port, whose SHA-256 software computes with
   * (ports/crypto/hss-lms.c). `again` as above. Null where no class of the product needs it.
   */
  fs_status (*verify_hss)(const struct fs_crypto *crypto, fs_bytes key, const fs_bytes *parts, uint32_t count,
                          fs_bytes signature, uint32_t *again);

  /*
   * HMAC-SHA-256 (RFC 2104) of the parts, in order (5 at most), under the key in a slot. Writes 32 bytes.
   * FS_PORT_FAILED where the slot holds no key of 32 bytes and more for that.
   */
  fs_status (*hmac_sha256)(void *context, fs_key_slot key, const fs_bytes *parts, uint32_t count, uint8_t tag[32]);

  /*
   * A128KW (RFC 3394): unwraps a 16-byte content key, wrapped in 24 bytes, under the key in a slot, into `state`, ready
   * for AES-CTR with the 16-byte counter block `iv`. FS_PORT_FAILED where the integrity check fails. Null where no class
   * decrypts.
   */
  fs_status (*unwrap_for_ctr)(void *context, fs_key_slot key, const uint8_t wrapped[24], const uint8_t iv[16],
                              fs_ctr *state);
  /* AES-128-CTR (RFC 9459): the key stream from byte `offset` of the message on, XORed into `bytes` in place. */
  fs_status (*ctr_at)(void *context, fs_ctr *state, uint32_t offset, uint8_t *bytes, uint32_t length);
  /* Overwrites the state. */
  void (*ctr_forget)(void *context, fs_ctr *state);
} fs_crypto;

#endif
