/*
 * The class of a unit out of the header that provisioning makes (`fieldseal header`): include that one first, then this one, in
 * one file of the bootloader. `fieldseal_class` then is what fs_device.unit_class points to.
 *
 * To be defined before, where it is so:
 *   FIELDSEAL_DEVICE_ID       address of the unit's own 16 bytes, in locked memory; must be defined
 *   FIELDSEAL_FLASH_BASE      areas lie in the flash port at their address less this one; else without gaps, as in a unit file
 *   FIELDSEAL_CONTENT_KEYS, FIELDSEAL_CONTENT_KEY_COUNT   initializer and number of key-encryption keys: fs_named_key
 *   FIELDSEAL_RECOVERY_LENGTH, FIELDSEAL_RECOVERY_DIGEST   bytes and 32-byte initializer of the recovery image
 */
#ifndef FIELDSEAL_HEADER_CLASS_H
#define FIELDSEAL_HEADER_CLASS_H

#include "class.h"

#if FIELDSEAL_COMPONENT_COUNT > 0
#error "a class with further components is outside what the kit takes (docs/device-kit.md)"
#endif
#if FIELDSEAL_DEMAND_COUNT > 0
#error "a class that asks for several signers is outside what the kit takes (docs/device-kit.md)"
#endif
#if FIELDSEAL_ALGORITHM == FS_HSS_LMS && defined(FIELDSEAL_CONTENT_KEYS)
#error "the profile of HSS/LMS encrypts with AES-256, which the kit does not decrypt with (docs/device-kit.md)"
#endif

#ifndef FIELDSEAL_RECOVERY_SIZE
#define FIELDSEAL_RECOVERY_SIZE 0
#define FIELDSEAL_RECOVERY_ADDRESS 0
#endif
#ifndef FIELDSEAL_RECOVERY_LENGTH
#define FIELDSEAL_RECOVERY_LENGTH 0
#define FIELDSEAL_RECOVERY_DIGEST {0}
#endif
#ifndef FIELDSEAL_CONTENT_KEYS
#define FIELDSEAL_CONTENT_KEYS {{{0, 0}, 0}}
#define FIELDSEAL_CONTENT_KEY_COUNT 0
#endif
#ifdef FIELDSEAL_POLICY_SIZE
#define FIELDSEAL_HAS_POLICY 1
#else
#define FIELDSEAL_HAS_POLICY 0
#endif

#define FIELDSEAL_ENVELOPE_SIZE (FIELDSEAL_ENVELOPES_SIZE / FIELDSEAL_SLOT_COUNT)
#ifdef FIELDSEAL_FLASH_BASE
#define FIELDSEAL_SLOT_0_OFFSET ((uint32_t)(FIELDSEAL_SLOT_0_ADDRESS - FIELDSEAL_FLASH_BASE))
#define FIELDSEAL_SLOT_1_OFFSET ((uint32_t)(FIELDSEAL_SLOT_1_ADDRESS - FIELDSEAL_FLASH_BASE))
#define FIELDSEAL_RECOVERY_OFFSET (FIELDSEAL_RECOVERY_SIZE ? (uint32_t)(FIELDSEAL_RECOVERY_ADDRESS - FIELDSEAL_FLASH_BASE) : 0)
#define FIELDSEAL_ENVELOPES_OFFSET ((uint32_t)(FIELDSEAL_ENVELOPES_ADDRESS - FIELDSEAL_FLASH_BASE))
#define FIELDSEAL_STATE_OFFSET ((uint32_t)(FIELDSEAL_STATE_ADDRESS - FIELDSEAL_FLASH_BASE))
#else
#define FIELDSEAL_SLOT_0_OFFSET UINT32_C(0)
#define FIELDSEAL_SLOT_1_OFFSET FIELDSEAL_SLOT_0_SIZE
#define FIELDSEAL_RECOVERY_OFFSET (FIELDSEAL_SLOT_1_OFFSET + FIELDSEAL_SLOT_1_SIZE)
#define FIELDSEAL_ENVELOPES_OFFSET (FIELDSEAL_RECOVERY_OFFSET + FIELDSEAL_RECOVERY_SIZE)
#define FIELDSEAL_STATE_OFFSET (FIELDSEAL_ENVELOPES_OFFSET + FIELDSEAL_ENVELOPES_SIZE)
#endif

static const uint8_t fieldseal_class_ids[][16] = FIELDSEAL_CLASS_IDS;
static const fs_anchor fieldseal_anchors[] = FIELDSEAL_ANCHORS;
static const fs_named_key fieldseal_mac_keys[] = FIELDSEAL_MAC_KEYS;
static const fs_named_key fieldseal_content_keys[] = FIELDSEAL_CONTENT_KEYS;

static const fs_class fieldseal_class = {
    fieldseal_vendor_id,
    fieldseal_class_ids,
    FIELDSEAL_CLASS_ID_COUNT,
    FIELDSEAL_DEVICE_ID,
    FIELDSEAL_ALGORITHM,
    fieldseal_anchors,
    FIELDSEAL_ANCHOR_COUNT,
    fieldseal_mac_keys,
    FIELDSEAL_MAC_KEY_COUNT,
    fieldseal_content_keys,
    FIELDSEAL_CONTENT_KEY_COUNT,
    0,
    0,
    FIELDSEAL_TRIAL,
    FIELDSEAL_HAS_CLOCK,
    FIELDSEAL_TRIAL_ATTEMPTS,
    {FIELDSEAL_SEQUENCE_FLOOR, FIELDSEAL_SECURITY_FLOOR, FIELDSEAL_GENERATION_FLOOR},
    {FIELDSEAL_STAGED ? FS_STAGED : FS_SLOTS,
     {{FIELDSEAL_SLOT_0_OFFSET, FIELDSEAL_SLOT_0_SIZE}, {FIELDSEAL_SLOT_1_OFFSET, FIELDSEAL_SLOT_1_SIZE}},
     {{FIELDSEAL_ENVELOPES_OFFSET, FIELDSEAL_ENVELOPE_SIZE},
      {FIELDSEAL_ENVELOPES_OFFSET + FIELDSEAL_ENVELOPE_SIZE, FIELDSEAL_ENVELOPE_SIZE}},
     {FIELDSEAL_RECOVERY_OFFSET, FIELDSEAL_RECOVERY_SIZE},
     {FIELDSEAL_STATE_OFFSET, FIELDSEAL_STATE_SIZE},
     FIELDSEAL_HAS_POLICY},
    FIELDSEAL_RECOVERY_LENGTH,
    FIELDSEAL_RECOVERY_DIGEST,
};

#endif
