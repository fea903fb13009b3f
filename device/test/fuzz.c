/*
 * Any bytes as an envelope (libFuzzer). The crypto port believes everything and computes nothing: every digest and tag is zeros,
 * every signature good, so that what lies behind the seal is reached by inputs with zeros for their digests. The classes come from
 * a case file that FIELDSEAL_FUZZ_CLASSES names; the first byte of an input picks one, the second says what runs.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../ports/crypto/hss-lms.h"
#include "class-record.h"
#include "fieldseal/kit.h"

#define CLASSES 8u
#define CLASS_BYTES 65536u
#define MARKS_SIZE 352u

int LLVMFuzzerInitialize(int *argc, char ***argv);
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

static class_record classes[CLASSES];
static uint32_t class_count;
static volatile uint8_t seen;

/* Reads every byte, as a port would: what may not be read shows. */
static void look(const uint8_t *bytes, uint32_t length) {
  for (uint32_t i = 0; i < length; i++) seen = (uint8_t)(seen ^ bytes[i]);
}

static fs_status start(void *context, fs_sha256 *state) {
  (void)context;
  memset(state, 0, sizeof *state);
  return FS_OK;
}

static fs_status update(void *context, fs_sha256 *state, const uint8_t *bytes, uint32_t length) {
  (void)context;
  (void)state;
  look(bytes, length);
  return FS_OK;
}

static fs_status finish(void *context, fs_sha256 *state, uint8_t digest[32]) {
  (void)context;
  (void)state;
  memset(digest, 0, 32);
  return FS_OK;
}

static fs_status verify_p256(void *context, const uint8_t point[64], const uint8_t digest[32], const uint8_t signature[64],
                             uint32_t *again) {
  (void)context;
  look(point, 64);
  look(digest, 32);
  look(signature, 64);
  *again = FS_CONFIRMED;
  return FS_OK;
}

static void look_at_parts(const fs_bytes *parts, uint32_t count) {
  for (uint32_t i = 0; i < count; i++) look(parts[i].bytes, parts[i].length);
}

static fs_status verify_ed25519(void *context, const uint8_t key[32], const fs_bytes *parts, uint32_t count,
                                const uint8_t signature[64], uint32_t *again) {
  (void)context;
  look(key, 32);
  look_at_parts(parts, count);
  look(signature, 64);
  *again = FS_CONFIRMED;
  return FS_OK;
}

static const uint8_t *copied(fs_bytes from) {
  uint8_t *copy = malloc(from.length + (from.length == 0u));

  if (copy == NULL) exit(2);
  if (from.length != 0u) memcpy(copy, from.bytes, from.length);
  return copy;
}

static void verify_copies(const fs_crypto *crypto, fs_bytes key, const fs_bytes *parts, uint32_t count, fs_bytes signature) {
  const fs_bytes copies[2] = {{copied(key), key.length}, {copied(signature), signature.length}};
  uint32_t again;

  (void)fs_hss_verify(crypto, copies[0], parts, count, copies[1], &again);
  free((void *)copies[0].bytes);
  free((void *)copies[1].bytes);
}

/* The verification that is ours, over copies of their own, whole and cut; whatever it says, the signature is believed. */
static fs_status verify_hss(const fs_crypto *crypto, fs_bytes key, const fs_bytes *parts, uint32_t count, fs_bytes signature,
                            uint32_t *again) {
  for (fs_bytes cut = key; cut.length >= 4u; cut.length -= 4u) verify_copies(crypto, cut, parts, count, signature);
  for (fs_bytes cut = signature; cut.length != 0u; cut.length -= cut.length / 16u + 1u) verify_copies(crypto, key, parts, count, cut);
  *again = FS_CONFIRMED;
  return FS_OK;
}

static fs_status hmac(void *context, fs_key_slot key, const fs_bytes *parts, uint32_t count, uint8_t tag[32]) {
  (void)context;
  (void)key;
  look_at_parts(parts, count);
  memset(tag, 0, 32);
  return FS_OK;
}

static fs_status unwrap(void *context, fs_key_slot key, const uint8_t wrapped[24], const uint8_t iv[16], fs_ctr *state) {
  (void)context;
  (void)key;
  look(wrapped, 24);
  look(iv, 16);
  memset(state, 0, sizeof *state);
  return FS_OK;
}

static fs_status ctr_at(void *context, fs_ctr *state, uint32_t offset, uint8_t *bytes, uint32_t length) {
  (void)context;
  (void)state;
  (void)offset;
  look(bytes, length);
  return FS_OK;
}

static void forget(void *context, fs_ctr *state) {
  (void)context;
  memset(state, 0, sizeof *state);
}

static const fs_crypto believing = {0, start, update, finish, verify_p256, verify_ed25519, verify_hss, hmac, unwrap, ctr_at, forget};

static void take_classes(FILE *file) {
  uint8_t head[5];

  while (class_count < CLASSES && fread(head, 1, sizeof head, file) == sizeof head) {
    const uint32_t length = ((uint32_t)head[1] << 16 | (uint32_t)head[2] << 8 | head[3]) - 1u;
    /* Points into these bytes for ever. */
    uint8_t *bytes = malloc(length);
    record from;
    if (bytes == NULL || length > CLASS_BYTES || fread(bytes, 1, length, file) != length) exit(2);
    from.at = bytes;
    from.end = bytes + length;
    from.short_of = 0;
    if (!take_class(&from, &classes[class_count++])) exit(2);
  }
}

int LLVMFuzzerInitialize(int *argc, char ***argv) {
  const char *name = getenv("FIELDSEAL_FUZZ_CLASSES");
  FILE *file = name != NULL ? fopen(name, "rb") : NULL;

  (void)argc;
  (void)argv;
  if (file == NULL) exit(2);
  take_classes(file);
  (void)fclose(file);
  return class_count == 0u ? 2 : 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size) {
  static const uint8_t marks[MARKS_SIZE];
  fs_offer offer;
  fs_plan plan;
  uint8_t *envelope;
  fs_status status;

  if (size < 2u) return 0;
  /* A copy of its own, so that one byte too many shows. */
  envelope = malloc(size - 2u + (size == 2u));
  if (envelope == NULL) return 0;
  memcpy(envelope, bytes + 2, size - 2u);
  memset(&offer, 0, sizeof offer);
  offer.envelope.bytes = envelope;
  offer.envelope.length = (uint32_t)(size - 2u);
  status = fs_check_marks(&classes[bytes[0] % class_count].unit_class, &believing, marks, (int8_t)(bytes[1] % 4u - 1), &offer, &plan);
  if ((status == FS_OK) != (plan.confirmed == FS_CONFIRMED)) abort();
  free(envelope);
  return 0;
}
