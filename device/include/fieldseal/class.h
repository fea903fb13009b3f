/* What provisioning gave a unit: who may seal for it, what it is, and where its memory lies. Constant and locked. */
#ifndef FIELDSEAL_CLASS_H
#define FIELDSEAL_CLASS_H

#include "crypto-port.h"

/* A root that the unit trusts: DER Name and DER SubjectPublicKeyInfo. A spare root stands above no release. */
typedef struct {
  fs_bytes name;
  fs_bytes spki;
  uint8_t spare;
} fs_anchor;

/* A key of the unit that payloads name by its key id. */
typedef struct {
  fs_bytes id;
  fs_key_slot slot;
} fs_named_key;

/* `FS_SLOTS`: two slots to run from. `FS_STAGED`: slot 0 runs, slot 1 is the staging area. */
typedef enum { FS_SLOTS = 0, FS_STAGED = 1 } fs_shape;

/* Values below which a unit accepts nothing. */
typedef struct {
  uint64_t sequence_number;
  uint32_t security_version;
  uint32_t signer_generation;
} fs_floors;

/* Areas of the flash (flash-port.h). Each begins and ends at an erase page. A size of 0: there is none. */
typedef struct {
  fs_shape shape;
  fs_span slots[2];
  fs_span envelopes[2];
  fs_span recovery;
  fs_span state;
  /* Whether the class has a policy area: its marks then have the longer form. */
  uint8_t has_policy;
} fs_map;

typedef struct {
  /* 16 bytes each. */
  const uint8_t *vendor_id;
  const uint8_t (*class_ids)[16];
  uint32_t class_id_count;
  const uint8_t *device_id;

  /* FS_ESP256, FS_ED25519, FS_HSS_LMS or FS_HMAC_256: the one algorithm that the unit takes (draft-ietf-suit-mti 5.2). */
  int32_t algorithm;
  const fs_anchor *anchors;
  uint32_t anchor_count;
  const fs_named_key *mac_keys;
  uint32_t mac_key_count;
  /* Key-encryption keys for A128KW; none where the unit does not decrypt. */
  const fs_named_key *content_keys;
  uint32_t content_key_count;
  /* SHA-256 of SubjectPublicKeyInfo of keys that were denied at provisioning. */
  const uint8_t (*denied)[32];
  uint32_t denied_count;

  uint8_t trial;
  uint8_t has_clock;
  uint32_t trial_attempts;
  fs_floors floors;
  fs_map map;

  /* The recovery image as provisioning wrote it; size 0 where there is none. */
  uint32_t recovery_size;
  uint8_t recovery_digest[32];
} fs_class;

#endif
