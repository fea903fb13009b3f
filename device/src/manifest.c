/* Step 4: version, structure, and every command and parameter of every sequence, before any of them runs. */
#include "internal.h"

#define MOST_COMPONENTS 64u
#define MOST_SEGMENTS 16u
#define DEEPEST_SEQUENCE 8u
#define MOST_COMMANDS 2048u
#define HIGHEST_CUSTOM (-257)

/* Where the elements of a manifest go; FS_EL_COUNT: known, and not carried out here. */
static const uint8_t ELEMENTS[][2] = {
    {1, FS_EL_VERSION}, {2, FS_EL_NUMBER},   {3, FS_EL_COMMON}, {4, FS_EL_URI},    {5, FS_EL_COUNT},
    {6, FS_EL_SET_VERSION}, {7, FS_EL_VALIDATE}, {8, FS_EL_LOAD}, {9, FS_EL_INVOKE}, {14, FS_EL_COSWID},
    {15, FS_EL_COUNT},  {16, FS_EL_FETCH},   {18, FS_EL_COUNT}, {20, FS_EL_INSTALL}, {23, FS_EL_TEXT},
    {24, FS_EL_COUNT}};

/* What a sequence is read against. */
typedef struct {
  uint32_t depth;
  uint32_t shared;
} place;

static uint32_t length_of(fs_cur span) { return span.end - span.off; }

static void read_sequence(fs_judge *judge, fs_cur content, place in);

static void read_inner(fs_judge *judge, fs_cur *at, place in) {
  fs_cur content = fs_string(judge, at);
  in.depth++;
  if (FS_GOOD(judge)) read_sequence(judge, content, in);
}

/* Two wrapped sequences at least, and perhaps nil at the end ([M] Appendix A). */
static void read_branches(fs_judge *judge, fs_cur at, place in) {
  uint32_t count = fs_take(judge, &at, 4);
  fs_cur last = at;
  uint32_t i;
  for (i = 1; i < count && FS_GOOD(judge); i++) fs_skip(judge, &last);
  if (count > 0 && fs_byte(judge, last.off) == 0xf6) count--;
  if (count < 2) fs_bad(judge);
  while (count-- > 0 && FS_GOOD(judge)) read_inner(judge, &at, in);
}

static const fs_command *read_code(fs_judge *judge, fs_cur *at, uint32_t shared) {
  int32_t code = fs_integer(judge, at, FS_COMMAND_UNKNOWN);
  const fs_command *row = fs_find_command(code);
  if (shared && (code <= HIGHEST_CUSTOM || (row != 0 && (row->flags & FS_CMD_SHARED) == 0)))
    fs_fail(judge, FS_COMMAND_MISPLACED);
  if (row == 0) fs_fail(judge, FS_COMMAND_UNKNOWN);
  if (row != 0 && (row->flags & FS_CMD_UNSUPPORTED) != 0) fs_fail(judge, FS_COMMAND_UNSUPPORTED);
  return row;
}

static void read_argument(fs_judge *judge, const fs_command *row, fs_cur at, place in) {
  switch (row->flags & FS_CMD_ARGUMENT) {
    case FS_ARG_INDEX:
      fs_read_index(judge, at);
      break;
    case FS_ARG_PARAMETERS:
      fs_read_parameters(judge, at, in.shared, row->code == 19);
      break;
    case FS_ARG_BRANCHES:
      read_branches(judge, at, in);
      break;
    case FS_ARG_SEQUENCE:
      read_inner(judge, &at, in);
      break;
    default:
      if (fs_take(judge, &at, 0) > 15) fs_bad(judge);
      break;
  }
}

/* A list of pairs, one at least; it nests at most as deep as DEEPEST_SEQUENCE. */
static void read_sequence(fs_judge *judge, fs_cur content, place in) {
  uint32_t count;
  if (in.depth > DEEPEST_SEQUENCE) fs_bad(judge);
  if (FS_GOOD(judge)) fs_valid(judge, content, FS_ITEMS, 0);
  count = fs_take(judge, &content, 4);
  if (count == 0 || (count & 1) != 0 || count / 2 > judge->commands_left) fs_bad(judge);
  if (!FS_GOOD(judge)) return;
  judge->commands_left -= count / 2;
  for (; count > 0 && FS_GOOD(judge); count -= 2) {
    const fs_command *row = read_code(judge, &content, in.shared);
    if (row == 0 || !FS_GOOD(judge)) return;
    read_argument(judge, row, content, in);
    fs_skip(judge, &content);
  }
}

/* With more than one component each sequence must begin with set-component-index ([M] section 6.2). */
static void read_element_sequence(fs_judge *judge, fs_cur content, uint32_t shared) {
  place in;
  in.depth = 0;
  in.shared = shared;
  read_sequence(judge, content, in);
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
    fs_cur identifier = at;
    uint32_t segments = fs_take(judge, &at, 4);
    if (segments > MOST_SEGMENTS) fs_bad(judge);
    while (segments-- > 0 && FS_GOOD(judge)) (void)fs_string(judge, &at);
    identifier.end = at.off;
    if (fs_is_named(judge, identifier, 'p')) judge->names_policy = 1;
    if (i < FS_COMPONENTS) judge->component[i] = identifier;
  }
  judge->component_count = count;
}

static void read_common(fs_judge *judge) {
  fs_cur at = {judge->element[FS_EL_COMMON], judge->manifest.end};
  fs_cur components = {0, 0};
  fs_cur shared = {0, 0};
  uint32_t count;
  at = fs_wrapped(judge, &at);
  count = fs_take(judge, &at, 5);
  for (; count > 0 && FS_GOOD(judge); count--) {
    uint32_t key;
    uint32_t major = fs_head(judge, &at);
    key = judge->argument;
    if (major != 0 || (key != 1 && key != 2 && key != 4))
      fs_fail(judge, FS_MANIFEST_ELEMENT_UNKNOWN);
    if (key == 1) fs_fail(judge, FS_MANIFEST_ELEMENT_UNSUPPORTED);
    if (key == 2) components = at;
    if (key == 4) shared = at;
    fs_skip(judge, &at);
  }
  if (FS_ABSENT(components)) fs_bad(judge);
  if (FS_GOOD(judge)) read_components(judge, components);
  if (!FS_GOOD(judge) || FS_ABSENT(shared)) return;
  judge->shared = fs_string(judge, &shared);
  if (FS_GOOD(judge)) read_element_sequence(judge, judge->shared, 1);
}

static void collect(fs_judge *judge) {
  fs_cur at = judge->manifest;
  uint32_t count;
  at = fs_wrapped(judge, &at);
  count = fs_take(judge, &at, 5);
  for (; count > 0 && FS_GOOD(judge); count--) {
    uint32_t i;
    uint32_t major = fs_head(judge, &at);
    uint32_t key = judge->argument;
    for (i = 0; i < sizeof ELEMENTS / sizeof *ELEMENTS; i++)
      if (major == 0 && ELEMENTS[i][0] == key) break;
    if (i == sizeof ELEMENTS / sizeof *ELEMENTS)
      fs_fail(judge, FS_MANIFEST_ELEMENT_UNKNOWN);
    else if (ELEMENTS[i][1] == FS_EL_COUNT)
      fs_fail(judge, FS_MANIFEST_ELEMENT_UNSUPPORTED);
    else
      judge->element[ELEMENTS[i][1]] = at.off;
    fs_skip(judge, &at);
  }
}

/* The severed byte string of an element, with its head; absent where the envelope holds none. */
static fs_cur severed(const fs_judge *judge, uint32_t element) {
  fs_cur none = {0, 0};
  return element >= FS_EL_FETCH && element <= FS_EL_COSWID ? judge->severed[element - FS_EL_FETCH] : none;
}

fs_cur fs_sequence_of(fs_judge *judge, uint32_t element) {
  fs_cur at = {judge->element[element], judge->manifest.end};
  fs_cur none = {0, 0};
  if (FS_ABSENT(at)) return none;
  if (fs_byte(judge, at.off) >> 5 == 4) at = severed(judge, element);
  return FS_ABSENT(at) ? none : fs_string(judge, &at);
}

static uint32_t is_the_one(fs_judge *judge, fs_cur part, uint32_t digest) {
  uint8_t found[32];
  fs_bytes bytes;
  bytes.bytes = judge->b + part.off;
  bytes.length = length_of(part);
  return fs_hash(judge->crypto, &bytes, 1, found) == FS_OK && fs_same(found, judge->b + digest, 32) == FS_OK;
}

/* A byte string is in place; an array is the digest of what was severed ([M] section 8.4). */
static void read_severable(fs_judge *judge, uint32_t element, uint32_t is_sequence) {
  fs_cur at = {judge->element[element], judge->manifest.end};
  fs_cur part = severed(judge, element);
  if (!FS_ABSENT(at) && fs_byte(judge, at.off) >> 5 == 4 && element >= FS_EL_FETCH) {
    uint32_t digest;
    if (!FS_GOOD(judge)) return;
    digest = fs_digest(judge, at, FS_MANIFEST_DIGEST_ALGORITHM_UNKNOWN);
    if (digest == 0) fs_fail(judge, FS_MANIFEST_DIGEST_ALGORITHM_UNKNOWN);
    if (!FS_GOOD(judge) || FS_ABSENT(part)) return;
    if (!is_the_one(judge, part, digest)) {
      judge->altered = 1;
      return;
    }
  } else if (FS_ABSENT(at))
    return;
  else
    (void)fs_string(judge, &at);
  if (is_sequence && FS_GOOD(judge)) read_element_sequence(judge, fs_sequence_of(judge, element), 0);
}

/* Integers, the first not negative ([UM] section 3.1). */
static void read_set_version(fs_judge *judge) {
  fs_cur at = {judge->element[FS_EL_SET_VERSION], judge->manifest.end};
  uint32_t count;
  uint32_t i;
  if (FS_ABSENT(at)) return;
  at = fs_wrapped(judge, &at);
  count = fs_take(judge, &at, 4);
  if (count == 0) fs_bad(judge);
  for (i = 0; i < count && FS_GOOD(judge); i++)
    if (fs_integer(judge, &at, judge->malformed) < 0 && i == 0) fs_bad(judge);
}

static void read_number(fs_judge *judge, uint32_t element, uint64_t *value) {
  fs_cur at = {judge->element[element], judge->manifest.end};
  if (FS_ABSENT(at) || fs_head(judge, &at) != 0) fs_bad(judge);
  *value = judge->wide;
}

/* Nothing may ride in the envelope that the manifest does not vouch for ([M] section 5.4). */
static void judge_vouched(fs_judge *judge) {
  uint32_t element;
  for (element = FS_EL_FETCH; element <= FS_EL_COSWID; element++) {
    uint32_t at = judge->element[element];
    if (!FS_ABSENT(severed(judge, element)) && (at == 0 || fs_byte(judge, at) >> 5 != 4))
      fs_fail(judge, FS_SEVERED_PART_UNEXPECTED);
  }
}

void fs_step_manifest(fs_judge *judge) {
  fs_cur at;
  uint32_t element;
  judge->malformed = FS_MANIFEST_MALFORMED;
  judge->limit = FS_MANIFEST_MALFORMED;
  judge->commands_left = MOST_COMMANDS;
  collect(judge);
  at.off = judge->element[FS_EL_VERSION];
  at.end = judge->manifest.end;
  if (FS_ABSENT(at)) fs_bad(judge);
  if (FS_GOOD(judge) && (fs_head(judge, &at) != 0 || judge->wide != 1))
    fs_fail(judge, FS_MANIFEST_VERSION_UNKNOWN);
  if (judge->element[FS_EL_COMMON] == 0) fs_bad(judge);
  if (FS_GOOD(judge)) read_common(judge);
  if (FS_GOOD(judge)) read_number(judge, FS_EL_NUMBER, &judge->sequence_number);
  for (element = FS_EL_VALIDATE; element <= FS_EL_COSWID && FS_GOOD(judge); element++)
    read_severable(judge, element, element <= FS_EL_INSTALL);
  at.off = judge->element[FS_EL_URI];
  if (FS_GOOD(judge) && !FS_ABSENT(at)) (void)fs_take(judge, &at, 3);
  if (FS_GOOD(judge)) read_set_version(judge);
  if (FS_GOOD(judge)) judge_vouched(judge);
  /* A policy component is for signers of trust updates only, and those seal for no unit of the kit. */
  fs_refuse_unless(judge, !judge->names_policy, FS_COMPONENT_NOT_FOR_PURPOSE);
}
