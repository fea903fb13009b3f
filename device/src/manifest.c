/* Step 4: version, structure, and every command and parameter of every sequence, before any of them runs. */
#include "internal.h"

#define MOST_COMPONENTS 64u
#define MOST_SEGMENTS 16u
#define DEEPEST_SEQUENCE 8u
#define MOST_COMMANDS 2048u
#define HIGHEST_CUSTOM (-257)
/* Elements of suit-common. */
#define COMPONENTS 2
#define SHARED 4

/* Elements by their keys: those that are known, and those of them that are not carried out here. */
#define UNSUPPORTED (1u << 5 | 1u << 15 | 1u << 18 | 1u << 24)
#define KNOWN (0x3deu | FS_SEVERABLE | UNSUPPORTED)

/* The order in which elements are read that may be severed, or hold a sequence. */
static const uint8_t ORDER[] = {FS_EL_VALIDATE, FS_EL_LOAD,    FS_EL_INVOKE, FS_EL_FETCH,
                                FS_EL_INSTALL,  FS_EL_TEXT, FS_EL_COSWID};

static uint32_t length_of(fs_cur span) { return span.end - span.off; }

static void read_sequence(fs_judge *judge, fs_cur content);

static void read_inner(fs_judge *judge, fs_cur *at) {
  fs_cur content = fs_string(judge, at);
  judge->nesting++;
  if (FS_GOOD(judge)) read_sequence(judge, content);
  judge->nesting--;
}

/* Two wrapped sequences at least, and perhaps nil at the end ([M] Appendix A). */
static void read_branches(fs_judge *judge, fs_cur at) {
  uint32_t count = fs_take(judge, &at, 4);
  fs_cur last = at;
  uint32_t i;
  for (i = 1; i < count && FS_GOOD(judge); i++) fs_skip(judge, &last);
  if (count > 0 && fs_byte(judge, last.off) == 0xf6) count--;
  if (count < 2) fs_bad(judge);
  while (count-- > 0 && FS_GOOD(judge)) read_inner(judge, &at);
}

static const fs_command *read_code(fs_judge *judge, fs_cur *at) {
  int32_t code = fs_integer(judge, at, FS_COMMAND_UNKNOWN);
  const fs_command *row = fs_find_command(code);
  if (judge->in_shared && (code <= HIGHEST_CUSTOM || (row != 0 && (row->flags & FS_CMD_SHARED) == 0)))
    fs_fail(judge, FS_COMMAND_MISPLACED);
  if (row == 0) fs_fail(judge, FS_COMMAND_UNKNOWN);
  if (row != 0 && (row->flags & FS_CMD_UNSUPPORTED) != 0) fs_fail(judge, FS_COMMAND_UNSUPPORTED);
  return row;
}

static void read_argument(fs_judge *judge, const fs_command *row, fs_cur at) {
  switch (row->flags & FS_CMD_ARGUMENT) {
    case FS_ARG_INDEX:
      fs_read_index(judge, at);
      break;
    case FS_ARG_PARAMETERS:
      fs_read_parameters(judge, at, row->code == 19);
      break;
    case FS_ARG_BRANCHES:
      read_branches(judge, at);
      break;
    case FS_ARG_SEQUENCE:
      read_inner(judge, &at);
      break;
    default:
      if (fs_take(judge, &at, 0) > 15) fs_bad(judge);
      break;
  }
}

/* A list of pairs, one at least; it nests at most as deep as DEEPEST_SEQUENCE. */
static void read_sequence(fs_judge *judge, fs_cur content) {
  uint32_t count;
  if (judge->nesting > DEEPEST_SEQUENCE) fs_bad(judge);
  if (FS_GOOD(judge)) fs_valid(judge, content, FS_ITEMS, 0);
  count = fs_take(judge, &content, 4);
  if (count == 0 || (count & 1) != 0 || count / 2 > judge->commands_left) fs_bad(judge);
  if (!FS_GOOD(judge)) return;
  judge->commands_left = (uint16_t)(judge->commands_left - count / 2);
  for (; count > 0 && FS_GOOD(judge); count -= 2) {
    const fs_command *row = read_code(judge, &content);
    if (row == 0 || !FS_GOOD(judge)) return;
    read_argument(judge, row, content);
    fs_skip(judge, &content);
  }
}

/* With more than one component each sequence must begin with set-component-index ([M] section 6.2). */
static void read_element_sequence(fs_judge *judge, fs_cur content) {
  read_sequence(judge, content);
  if (!FS_GOOD(judge) || judge->component_count < 2) return;
  (void)fs_take(judge, &content, 4);
  if (fs_integer(judge, &content, judge->malformed) != 12) fs_fail(judge, FS_COMPONENT_INDEX_MISSING);
}

/* Component identifiers: lists of byte strings ([M] section 8.4.5.1). The first ones are kept. */
static void read_components(fs_judge *judge, fs_cur at) {
  uint32_t count = fs_take(judge, &at, 4);
  uint32_t i;
  if (count == 0 || count > MOST_COMPONENTS) fs_bad(judge);
  for (i = 0; i < count && FS_GOOD(judge); i++) {
    uint32_t identifier = at.off;
    uint32_t segments = fs_take(judge, &at, 4);
    if (segments > MOST_SEGMENTS) fs_bad(judge);
    while (segments-- > 0 && FS_GOOD(judge)) (void)fs_string(judge, &at);
    if (fs_is_named(judge, identifier, 'p')) judge->names_policy = 1;
    if (i < FS_COMPONENTS) judge->component[i] = identifier;
  }
  judge->component_count = (uint8_t)count;
}

/* The element under a key, up to the end of the manifest; absent where there is none. */
fs_pair fs_element_r(fs_judge *judge, int32_t key) {
  fs_cur map = {judge->elements, judge->manifest.end};
  return fs_look_up_r(judge, map, key);
}

static void read_common(fs_judge *judge) {
  fs_cur at = fs_element(judge, FS_EL_COMMON);
  fs_cur map;
  fs_cur inner;
  uint32_t count;
  if (FS_ABSENT(at)) fs_bad(judge);
  at = fs_wrapped(judge, &at);
  map = at;
  count = fs_take(judge, &at, 5);
  for (; count > 0 && FS_GOOD(judge); count--) {
    uint32_t major = fs_head(judge, &at);
    uint32_t key = judge->argument;
    if (major != 0 || !FS_AMONG(key, 1u << 1 | 1u << COMPONENTS | 1u << SHARED))
      fs_fail(judge, FS_MANIFEST_ELEMENT_UNKNOWN);
    if (key == 1) fs_fail(judge, FS_MANIFEST_ELEMENT_UNSUPPORTED);
    fs_skip(judge, &at);
  }
  inner = fs_look_up(judge, map, COMPONENTS);
  if (FS_ABSENT(inner)) fs_bad(judge);
  if (FS_GOOD(judge)) read_components(judge, inner);
  inner = fs_look_up(judge, map, SHARED);
  if (!FS_GOOD(judge) || FS_ABSENT(inner)) return;
  judge->shared = fs_string(judge, &inner);
  judge->in_shared = 1;
  if (FS_GOOD(judge)) read_element_sequence(judge, judge->shared);
  judge->in_shared = 0;
}

static void judge_elements(fs_judge *judge) {
  fs_cur at = judge->manifest;
  uint32_t count;
  at = fs_wrapped(judge, &at);
  judge->elements = at.off;
  count = fs_take(judge, &at, 5);
  for (; count > 0 && FS_GOOD(judge); count--) {
    uint32_t major = fs_head(judge, &at);
    uint32_t key = judge->argument;
    if (major != 0 || !FS_AMONG(key, KNOWN)) fs_fail(judge, FS_MANIFEST_ELEMENT_UNKNOWN);
    if (FS_AMONG(key, UNSUPPORTED)) fs_fail(judge, FS_MANIFEST_ELEMENT_UNSUPPORTED);
    fs_skip(judge, &at);
  }
}

/* The severed byte string of an element, with its head; absent where the envelope holds none. */
static fs_pair severed_r(fs_judge *judge, uint32_t element) {
  fs_cur none = {0, 0};
  return fs_entry_r(judge, none, element);
}
#define severed(judge, element) fs_cur_of(severed_r(judge, element))

/* Whether what stands in the place of an element is the digest of what was severed ([M] section 8.4). */
static uint32_t is_digest(const fs_judge *judge, fs_cur at) { return fs_byte(judge, at.off) >> 5 == 4; }

fs_pair fs_sequence_of_r(fs_judge *judge, uint32_t element) {
  fs_cur at = fs_element(judge, (int32_t)element);
  if (!FS_ABSENT(at) && is_digest(judge, at)) at = severed(judge, element);
  return FS_ABSENT(at) ? 0 : fs_string_r(judge, &at);
}

static FS_APART uint32_t is_the_one(fs_judge *judge, fs_cur part, uint32_t digest) {
  uint8_t found[32];
  fs_bytes bytes;
  bytes.bytes = judge->b + part.off;
  bytes.length = length_of(part);
  return fs_hash(judge->crypto, &bytes, 1, found) == FS_OK && fs_same(found, judge->b + digest, 32) == FS_OK;
}

/* The digest of what was severed; gives whether that is there, and is the one. */
static uint32_t read_severed(fs_judge *judge, fs_cur at, uint32_t element) {
  fs_cur part = severed(judge, element);
  uint32_t digest = fs_digest(judge, at, FS_MANIFEST_DIGEST_ALGORITHM_UNKNOWN);
  if (digest == 0) fs_fail(judge, FS_MANIFEST_DIGEST_ALGORITHM_UNKNOWN);
  if (!FS_GOOD(judge) || FS_ABSENT(part)) return 0;
  if (is_the_one(judge, part, digest)) return 1;
  judge->altered = 1;
  return 0;
}

static void read_element(fs_judge *judge, uint32_t element) {
  fs_cur at = fs_element(judge, (int32_t)element);
  if (FS_ABSENT(at)) return;
  if (FS_AMONG(element, FS_SEVERABLE) && is_digest(judge, at)) {
    if (!read_severed(judge, at, element)) return;
  } else
    (void)fs_string(judge, &at);
  if (element == FS_EL_TEXT || element == FS_EL_COSWID || !FS_GOOD(judge)) return;
  read_element_sequence(judge, fs_sequence_of(judge, element));
}

/* Integers, the first not negative ([UM] section 3.1). */
static void read_set_version(fs_judge *judge) {
  fs_cur at = fs_element(judge, FS_EL_SET_VERSION);
  uint32_t count;
  uint32_t i;
  if (FS_ABSENT(at)) return;
  at = fs_wrapped(judge, &at);
  count = fs_take(judge, &at, 4);
  if (count == 0) fs_bad(judge);
  for (i = 0; i < count && FS_GOOD(judge); i++)
    if (fs_integer(judge, &at, judge->malformed) < 0 && i == 0) fs_bad(judge);
}

/* A number that must be there, whole in `wide`. */
static void read_number(fs_judge *judge, int32_t element) {
  fs_cur at = fs_element(judge, element);
  if (FS_ABSENT(at) || fs_head(judge, &at) != 0) fs_bad(judge);
}

/* Nothing may ride in the envelope that the manifest does not vouch for ([M] section 5.4). */
static void judge_vouched(fs_judge *judge) {
  uint32_t i;
  for (i = 0; i < sizeof ORDER; i++)
    if (!FS_ABSENT(severed(judge, ORDER[i])) && !is_digest(judge, fs_element(judge, ORDER[i])))
      fs_fail(judge, FS_SEVERED_PART_UNEXPECTED);
}

static void judge_version(fs_judge *judge) {
  fs_cur at = fs_element(judge, FS_EL_VERSION);
  if (FS_ABSENT(at)) fs_bad(judge);
  if (FS_GOOD(judge) && (fs_head(judge, &at) != 0 || judge->wide != 1)) fs_fail(judge, FS_MANIFEST_VERSION_UNKNOWN);
}

void fs_step_manifest(fs_judge *judge) {
  fs_cur at;
  uint32_t i;
  judge->malformed = FS_MANIFEST_MALFORMED;
  judge->limit = FS_MANIFEST_MALFORMED;
  judge->commands_left = MOST_COMMANDS;
  judge_elements(judge);
  judge_version(judge);
  read_common(judge);
  read_number(judge, FS_EL_NUMBER);
  judge->sequence_number = judge->wide;
  for (i = 0; i < sizeof ORDER && FS_GOOD(judge); i++) read_element(judge, ORDER[i]);
  at = fs_element(judge, FS_EL_URI);
  if (!FS_ABSENT(at)) (void)fs_take(judge, &at, 3);
  if (FS_GOOD(judge)) read_set_version(judge);
  if (FS_GOOD(judge)) judge_vouched(judge);
  /* A policy component is for signers of trust updates only, and those seal for no unit of the kit. */
  fs_refuse_unless(judge, !judge->names_policy, FS_COMPONENT_NOT_FOR_PURPOSE);
}
