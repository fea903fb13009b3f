/* What the files of the kit share. Nothing here is for users of the kit. */
#ifndef FIELDSEAL_INTERNAL_H
#define FIELDSEAL_INTERNAL_H

#include <stddef.h>
#include <string.h>

#include "fieldseal/kit.h"

/* A frame of its own: merged into its caller it would lie on the stack all the way down. */
#if defined(__GNUC__)
#define FS_APART __attribute__((noinline))
#else
#define FS_APART
#endif

/* A span of the envelope at hand, or a place in it that is read up to `end`. Offsets count from its first byte. */
typedef struct {
  uint32_t off;
  uint32_t end;
} fs_cur;

/*
 * A cursor as a function returns it: the core hands over a number of 64 bits in registers, and a struct of that size through
 * memory. Each function `name_r` that gives one has a `name` that gives the cursor.
 */
typedef uint64_t fs_pair;
static inline fs_pair fs_pair_of(fs_cur cursor) { return (fs_pair)cursor.end << 32 | cursor.off; }
static inline fs_cur fs_cur_of(fs_pair pair) {
  fs_cur cursor = {(uint32_t)pair, (uint32_t)(pair >> 32)};
  return cursor;
}

/* No item: offset 0 is the envelope itself. */
#define FS_ABSENT(cursor) ((cursor).off == 0)

/* Items in one wrapped structure (docs/limits.md). */
#define FS_ITEMS 8192u

/* Elements of a manifest that are acted on, by their keys (draft-ietf-suit-manifest section 11.3 and the extensions). */
enum {
  FS_EL_VERSION = 1,
  FS_EL_NUMBER = 2,
  FS_EL_COMMON = 3,
  FS_EL_URI = 4,
  FS_EL_SET_VERSION = 6,
  FS_EL_VALIDATE = 7,
  FS_EL_LOAD = 8,
  FS_EL_INVOKE = 9,
  FS_EL_COSWID = 14,
  FS_EL_FETCH = 16,
  FS_EL_INSTALL = 20,
  FS_EL_TEXT = 23
};
/* Whether a key is among those whose bits are set. */
#define FS_AMONG(key, keys) ((key) < 32 && ((keys) >> (key) & 1u) != 0)
/* Elements that may lie beside the manifest, which then has their digest. */
#define FS_SEVERABLE (1u << FS_EL_COSWID | 1u << FS_EL_FETCH | 1u << FS_EL_INSTALL | 1u << FS_EL_TEXT)

/* Components that a manifest for a unit of the kit can have; more are refused (docs/device-kit.md). */
#define FS_COMPONENTS 2
/* Parameters that are kept while sequences run: fs_parameter_place in machine.c. */
#define FS_PARAMETERS 13

/* What the steps leave behind for the second look (evidence.c): good words, and places in the envelope. 0 is none. */
typedef struct {
  uint32_t digest;
  uint32_t seal;
  uint32_t links;
  uint32_t generation;
  uint32_t cleared;
  uint32_t scope_at;
  uint32_t vendor_at;
  uint32_t class_at;
  uint8_t path_length;
  uint8_t trial;
} fs_evidence;

/* Which sequences are followed, and for what. */
typedef enum { FS_FOR_IDENTITY, FS_FOR_START, FS_FOR_INSTALL } fs_purpose;

/*
 * How an image is decrypted: the key that opens its content key, what it opens, the first counter block, the digest of the
 * ciphertext where the manifest names one.
 */
typedef struct {
  const uint8_t *wrapped;
  const uint8_t *iv;
  const uint8_t *digest;
  fs_key_slot slot;
} fs_cipher;

/* Where the bytes of a component come from. */
typedef enum { FS_FROM_NOTHING = 0, FS_FROM_URI, FS_FROM_MANIFEST } fs_from;

/* What was said of a component while installing is followed: where its bytes come from, and what they were compared with. */
typedef struct {
  fs_cur content;
  uint32_t size;
  uint32_t digest;
  /* Encryption info, 0 for none; of what arrives encrypted `digest` and `size` are those of the ciphertext. */
  uint32_t info;
  uint8_t from;
  uint8_t has_size;
} fs_arrival;

/* What sequences are followed with. */
typedef struct {
  /* The running machine: `list` is a selection of several components where it stands in the manifest, 0 for one. */
  uint8_t index;
  uint8_t strict;
  uint8_t purpose;
  uint8_t element_run;
  uint8_t failed_command;
  /* What the shared sequence asked for; what a start would do. */
  uint8_t met_vendor;
  uint8_t met_class;
  uint8_t invoked_main;
  uint8_t invoked;
  uint8_t compared;
  uint8_t differs;
  uint8_t has_image_size;
  uint32_t list;
  uint32_t steps_left;
  fs_status reason;
  /* What installing would bring. */
  fs_arrival arrival[FS_COMPONENTS];
  uint32_t parameter[FS_COMPONENTS][FS_PARAMETERS];
} fs_machine;

/*
 * One pass over one envelope. The first refusal stays. What is used most stands first, where the core reaches it by short
 * instructions.
 */
typedef struct {
  const uint8_t *b;
  uint32_t size;
  fs_status status;
  /* What a malformed item and one beyond a limit are called in this step. */
  fs_status malformed;
  fs_status limit;
  const fs_class *unit;
  /* At start-up neither dates nor revocation count. */
  uint8_t stored;
  uint8_t slot;
  uint8_t integrated;
  uint8_t component_count;
  uint8_t security_version_wrong;
  uint8_t has_now;
  uint8_t has_image;
  /* Where an envelope is offered: an fs_effect; the slot that nothing may be written to. */
  uint8_t effect;
  int8_t running;
  uint8_t altered;
  uint8_t names_policy;
  uint8_t entry_count;
  /* The sequence that step 4 reads: how deep it nests, whether it is the shared one or within it. */
  uint8_t nesting;
  uint8_t in_shared;
  uint16_t block_count;
  uint16_t commands_left;
  const fs_crypto *crypto;
  /* There from step 5 on. */
  fs_machine *run;
  /* Of the head that was read last. */
  uint64_t wide;
  uint32_t argument;

  /* Envelope: byte strings with their heads. `entries`: the first element of its map. */
  uint32_t entries;
  fs_cur digest;
  fs_cur blocks;
  fs_cur manifest;
  /* The block that counts, its headers and what it vouches for. */
  fs_cur block;
  uint32_t security_version;
  /* Manifest; `elements`: its map. Where components stand; the shared sequence. */
  uint32_t elements;
  uint32_t component[FS_COMPONENTS];
  fs_cur shared;
  uint64_t sequence_number;
  /* What a start compares the image with. */
  uint32_t image_digest;
  uint32_t image_size;
  uint32_t manifest_digest;

  /* What the unit remembers, null where its marks are lost. */
  const uint8_t *marks;
  /* Seconds since 1970; judged where `has_now`. */
  uint64_t now;
  uint32_t least_generation;
  /* Bytes that a kept envelope may have; the floor at start-up. */
  uint32_t room;
  uint32_t security_floor;
  fs_evidence evidence;
} fs_judge;

/* Within a pass 0 is good: it costs least to ask. What leaves a pass is FS_OK or a refusal. */
#define FS_GOOD(judge) ((judge)->status == 0)

/* A byte of the envelope; 0 where it has none, so that no wrong place ever reads what lies elsewhere. */
static inline uint8_t fs_byte(const fs_judge *judge, uint32_t off) { return off < judge->size ? judge->b[off] : 0; }

static inline fs_bytes fs_bytes_of(const fs_judge *judge, fs_cur span) {
  fs_bytes bytes = {judge->b + span.off, span.end - span.off};
  return bytes;
}

/* judge.c */
void fs_fail(fs_judge *judge, fs_status code);
void fs_bad(fs_judge *judge);
/* FS_OK where the bytes are the same, computed without a branch on them. */
fs_status fs_same(const uint8_t *a, const uint8_t *b, uint32_t length);
/* evidence.c: 0 where the bytes are the same; a comparison of its own for the second look. */
uint32_t fs_differs(const uint8_t *a, const uint8_t *b, uint32_t length);
fs_status fs_hash(const fs_crypto *crypto, const fs_bytes *parts, uint32_t count, uint8_t digest[32]);
#define fs_refuse_unless(judge, holds, code) ((holds) ? (void)0 : fs_fail(judge, code))
/* Numbers of `width` bytes, most significant first. */
uint64_t fs_get(const uint8_t *bytes, uint32_t width);
void fs_put(uint8_t *bytes, uint32_t width, uint64_t value);
static inline uint32_t fs_get32(const uint8_t *bytes, uint32_t width) { return (uint32_t)fs_get(bytes, width); }
void fs_put32(uint8_t *bytes, uint32_t width, uint32_t value);
/* Of the envelope: a number of `width` bytes, whether it holds these bytes, how two stretches compare (as memcmp says it). */
uint64_t fs_number_at(const fs_judge *judge, uint32_t off, uint32_t width);
uint32_t fs_holds(const fs_judge *judge, uint32_t off, const uint8_t *bytes, uint32_t length);
int fs_order(const fs_judge *judge, uint32_t one, uint32_t other, uint32_t length);
uint32_t fs_span_is(const fs_judge *judge, fs_cur span, const uint8_t *bytes, uint32_t length);
uint32_t fs_spans_same(const fs_judge *judge, fs_cur a, fs_cur b);

/*
 * cbor.c: RFC 8949 in deterministic form. Major type of the next head, or FS_NO_ITEM after a failure; its argument is in the
 * judge then, whole in `wide`, and in `argument` as far as 32 bits go.
 */
#define FS_NO_ITEM 8u
uint32_t fs_head(fs_judge *judge, fs_cur *at);
void fs_skip(fs_judge *judge, fs_cur *at);
/* Whether the span is one well-formed item and nothing else. COSE headers may come unsorted (`loose`). */
void fs_valid(fs_judge *judge, fs_cur span, uint32_t items, uint32_t loose);
/* The argument of the next head, which must have this major type. */
uint32_t fs_take(fs_judge *judge, fs_cur *at, uint32_t major);
/* The head that must be next: an array of so many items, a tag, a simple value. */
void fs_expect(fs_judge *judge, fs_cur *at, uint32_t major, uint32_t argument);
/* What is beyond 32 bits is the largest or the smallest number; what is none is refused under `code`. */
int32_t fs_integer(fs_judge *judge, fs_cur *at, fs_status code);
/* The content of the byte string that is next. */
fs_pair fs_string_r(fs_judge *judge, fs_cur *at);
#define fs_string(judge, at) fs_cur_of(fs_string_r(judge, at))
/* The same, where the content is one item. */
fs_pair fs_wrapped_r(fs_judge *judge, fs_cur *at);
#define fs_wrapped(judge, at) fs_cur_of(fs_wrapped_r(judge, at))
uint32_t fs_is_utf8(const fs_judge *judge, fs_cur text);
/* A digest: the place of its 32 bytes; 0 where it is of an algorithm that is known and not computed. */
uint32_t fs_digest(fs_judge *judge, fs_cur at, fs_status unknown);
/* Writes the shortest head; gives its length. */
uint32_t fs_put_head(uint8_t *into, uint32_t major, uint32_t argument);

/* envelope.c: step 1. */
void fs_step_envelope(fs_judge *judge);
/* The byte string, with its head, under a text, or under `number` where that is absent; absent where there is none. */
fs_pair fs_entry_r(fs_judge *judge, fs_cur text, uint32_t number);
#define fs_entry(judge, text, number) fs_cur_of(fs_entry_r(judge, text, number))

/* Whether it begins as an encrypted message does, whose seal is outside (RFC 9052 section 2). */
uint32_t fs_is_message(const uint8_t *bytes, uint32_t length);

/* cose.c */
/* The value under a number in a map; absent where there is none. */
fs_pair fs_look_up_r(fs_judge *judge, fs_cur map, int32_t label);
#define fs_look_up(judge, map, label) fs_cur_of(fs_look_up_r(judge, map, label))
typedef struct {
  fs_cur is_protected;
  fs_cur is_unprotected;
  fs_cur seal;
  uint8_t mac;
  uint8_t has_protected;
} fs_block;
/* The two buckets of a layer, which are next. */
void fs_read_headers(fs_judge *judge, fs_cur *at, fs_block *layer);
void fs_read_block(fs_judge *judge, fs_cur span, fs_block *block);
#define FS_IN_PROTECTED 1u
#define FS_IN_ANY 3u
fs_pair fs_header_r(fs_judge *judge, const fs_block *block, int32_t label, uint32_t where);
#define fs_header(judge, block, label, where) fs_cur_of(fs_header_r(judge, block, label, where))
/* Sig_structure or MAC_structure around the digest: four parts; `head` holds what is built. */
#define FS_SIGNED_HEAD 32u
void fs_signed_parts(fs_judge *judge, const fs_block *block, uint8_t head[FS_SIGNED_HEAD], fs_bytes parts[4]);

/* certificate.c */
enum { FS_KEY_OTHER = 0, FS_KEY_P256, FS_KEY_ED25519, FS_KEY_HSS };
/* SubjectPublicKeyInfo of HSS keys: where the key is, length with hashes of 24 and 32 bytes. */
#define FS_HSS_AT 20u
#define FS_HSS_SHORT 72u
#define FS_HSS_LONG 80u
typedef struct {
  uint8_t algorithm;
  uint8_t key;
  uint8_t is_authority;
  uint8_t purposes;
  uint8_t has_purposes;
  uint8_t unsupported;
  uint8_t trial;
  /* By the clock of the unit, if it has one. */
  uint8_t too_early;
  uint8_t too_late;
  uint16_t key_usage;
  uint32_t generation;
  uint32_t path_length;
  fs_cur tbs;
  fs_cur issuer;
  fs_cur subject;
  fs_cur spki;
  fs_cur signature;
  fs_cur names;
} fs_certificate;
#define FS_PURPOSE_RELEASE 1u
#define FS_PURPOSE_TRUST 2u
#define FS_PURPOSE_ANNOUNCEMENT 4u
#define FS_PURPOSE_ANY 8u
#define FS_OUR_PURPOSES (FS_PURPOSE_RELEASE | FS_PURPOSE_TRUST | FS_PURPOSE_ANNOUNCEMENT)
#define FS_NO_LIMIT UINT32_MAX
/* Bits of the first byte of keyUsage. */
#define FS_USAGE_PRESENT 0x100u
#define FS_USAGE_SIGNATURE 0x80u
#define FS_USAGE_CERTIFICATES 0x04u
#define FS_USAGE_CRLS 0x02u
/* 99991231235959Z: no well-defined end (RFC 5280 section 4.1.2.5). */
#define FS_LAST_SECOND INT64_C(253402300799)
uint8_t fs_key_type(const uint8_t *spki, uint32_t length);
void fs_read_certificate(fs_judge *judge, fs_cur der, fs_certificate *certificate);

/* extensions.c: gives whether the names are critical. */
uint32_t fs_read_extensions(fs_judge *judge, fs_cur list, fs_certificate *into);

/* der.c: X.690, strict. */
fs_pair fs_der_r(fs_judge *judge, fs_cur *at, uint32_t tag);
#define fs_der(judge, at, tag) fs_cur_of(fs_der_r(judge, at, tag))
/* Tag byte of the next element; 0 at the end. */
static inline uint32_t fs_der_next(const fs_judge *judge, fs_cur at) {
  return at.off < at.end ? fs_byte(judge, at.off) : 0;
}
fs_pair fs_der_any_r(fs_judge *judge, fs_cur *at, uint32_t *tag);
#define fs_der_any(judge, at, tag) fs_cur_of(fs_der_any_r(judge, at, tag))
void fs_der_end(fs_judge *judge, fs_cur at);
fs_pair fs_der_integer_r(fs_judge *judge, fs_cur *at, uint32_t tag);
#define fs_der_integer(judge, at, tag) fs_cur_of(fs_der_integer_r(judge, at, tag))
uint32_t fs_der_unsigned(fs_judge *judge, fs_cur *at, uint32_t tag);
uint32_t fs_der_flag(fs_judge *judge, fs_cur *at);
fs_pair fs_der_oid_r(fs_judge *judge, fs_cur *at, uint32_t tag);
#define fs_der_oid(judge, at, tag) fs_cur_of(fs_der_oid_r(judge, at, tag))
fs_pair fs_der_bits_r(fs_judge *judge, fs_cur *at, uint32_t tag, uint32_t *unused);
#define fs_der_bits(judge, at, tag, unused) fs_cur_of(fs_der_bits_r(judge, at, tag, unused))
uint32_t fs_der_text(fs_judge *judge, uint32_t tag, fs_cur content);
int64_t fs_der_time(fs_judge *judge, fs_cur *at);

/* name.c */
uint32_t fs_same_name(fs_bytes a, fs_bytes b);

/* path.c: whether the signer may seal for the unit; the signer's certificate. */
void fs_judge_signer(fs_judge *judge, const fs_block *block, fs_certificate *signer);
/* FS_OK where the key made the signature: r then s, or as its type has it. `again`: the second word of the port. */
fs_status fs_verify(fs_judge *judge, uint32_t type, fs_bytes key, const fs_bytes *parts, uint32_t count,
                    fs_bytes signature, uint32_t *again);

/* rights.c */
void fs_judge_key(fs_judge *judge, const fs_certificate *certificate, uint32_t kind);
void fs_judge_rights(fs_judge *judge, const fs_certificate *signer, uint32_t least);

/* signature.c */
#define FS_NO_KEY UINT32_MAX
/* The algorithm that the headers name; 0 where they name none by a number. */
int32_t fs_algorithm_of(fs_judge *judge, const fs_block *block, uint32_t where);
void fs_judge_signature(fs_judge *judge, const fs_block *block, const fs_certificate *signer);
/* Refuses under `code`; `decrypts`: an IV is understood, and what goes with signatures is not. */
void fs_judge_criticality(fs_judge *judge, const fs_block *block, uint32_t decrypts, fs_status code);
void fs_judge_mac(fs_judge *judge, const fs_block *block, uint32_t key);
void fs_read_security_version(fs_judge *judge, const fs_block *block);

/* encryption.c: the form in step 4, the keys in step 8. */
void fs_read_encryption_info(fs_judge *judge, fs_cur info);
void fs_judge_encryption(fs_judge *judge, fs_cur info, fs_cipher *cipher);
/* Whether the key in its slot opens what a recipient brings. */
uint32_t fs_opens(const fs_crypto *crypto, const fs_cipher *cipher);

/* seal.c: steps 2 and 3. */
void fs_step_seal(fs_judge *judge);

/* parameters.c */
void fs_read_parameters(fs_judge *judge, fs_cur at, uint32_t may_be_overridden);
void fs_read_index(fs_judge *judge, fs_cur at);

/* manifest.c: step 4. */
fs_pair fs_element_r(fs_judge *judge, int32_t key);
#define fs_element(judge, key) fs_cur_of(fs_element_r(judge, key))
void fs_step_manifest(fs_judge *judge);

/*
 * selection.c. State of one running sequence: softness ([M] 8.4.8.15), where an index may be set, components written and read
 * while order was not strict.
 */
enum { FS_HARD = 0, FS_SOFT = 1, FS_NO_SOFTNESS = 2 };
enum { FS_INDEX_ALWAYS = 0, FS_INDEX_FIRST, FS_INDEX_NEVER };
typedef struct {
  uint8_t soft;
  uint8_t rule;
  uint8_t written;
  uint8_t read;
} fs_frame;
typedef enum { FS_RAN = 0, FS_CONDITION_STOPPED, FS_ABORTED } fs_ran;
fs_ran fs_stop(fs_judge *judge, fs_ran how, fs_status reason);
fs_ran fs_step(fs_judge *judge);
uint32_t fs_selected(fs_judge *judge, uint32_t list, uint32_t nth, uint8_t *index);
fs_ran fs_set_index(fs_judge *judge, fs_cur at, const fs_frame *in, uint32_t first);
fs_ran fs_set_parameters(fs_judge *judge, uint32_t code, fs_cur at, fs_frame *in);

/* machine.c: runs the shared sequence and then one of the elements; 0, or what stopped it. */
#define FS_REASON_HOST UINT32_C(0x10001)
#define FS_REASON_ABORT UINT32_C(0x10002)
#define FS_REASON_PARAMETER UINT32_C(0x10003)
#define FS_REASON_ABSENT UINT32_C(0x10004)
void fs_begin_run(fs_judge *judge, fs_purpose purpose);
/* FS_EL_COMMON: the shared sequence alone. */
fs_ran fs_run(fs_judge *judge, uint32_t element);
uint32_t fs_parameter(const fs_judge *judge, uint32_t component, uint32_t code);
/* What follows the code of a command, or 0 where it is none: see the table in commands.c. */
typedef struct {
  uint8_t code;
  uint8_t needs;
  uint8_t flags;
} fs_command;
#define FS_CMD_CONDITION 0x01u
#define FS_CMD_SHARED 0x02u
#define FS_CMD_WRITES 0x04u
#define FS_CMD_UNSUPPORTED 0x08u
#define FS_CMD_ARGUMENT 0x70u
#define FS_ARG_POLICY 0x00u
#define FS_ARG_INDEX 0x10u
#define FS_ARG_PARAMETERS 0x20u
#define FS_ARG_BRANCHES 0x30u
#define FS_ARG_SEQUENCE 0x40u
const fs_command *fs_find_command(int32_t code);
/* Content of a sequence element: in the manifest, or severed. Absent: it is not there. */
fs_pair fs_sequence_of_r(fs_judge *judge, uint32_t element);
#define fs_sequence_of(judge, element) fs_cur_of(fs_sequence_of_r(judge, element))

/* host.c: what a condition or directive does on paper. */
fs_ran fs_host(fs_judge *judge, const fs_command *command);
/* 0 main, 1 staging, 2 download; 3: none of the unit. */
#define FS_MAIN 0u
#define FS_STAGING 1u
#define FS_DOWNLOAD 2u
#define FS_NO_ROLE 3u
uint32_t fs_role(const fs_judge *judge, uint32_t component);
/* Whether an identifier is that of the one of our components whose name begins so: main, staging, download, policy. */
uint32_t fs_is_named(const fs_judge *judge, uint32_t identifier, uint8_t initial);

#endif
