/* Parameters of a sequence (draft-ietf-suit-manifest section 8.4.8), and what selects components (6.5). */
#include "internal.h"

#define LARGEST_CONTENT 4096u
#define HIGHEST_CUSTOM (-257)

/* How a parameter is encoded. */
enum { VENDOR, UUID, DIGEST, NUMBER, NUMBER_64, FLAG, SIGNED, STRING, LINK, COMPONENT, ENCRYPTION, NOT_HERE };
static const uint8_t PARAMETERS[][2] = {
    {1, VENDOR},    {2, UUID},    {3, DIGEST},   {4, NUMBER_64}, {5, NUMBER},  {12, FLAG},     {13, FLAG},
    {14, NUMBER},   {18, STRING}, {19, ENCRYPTION}, {21, LINK},    {22, COMPONENT}, {23, STRING}, {24, UUID},
    {25, NOT_HERE}, {26, NUMBER}, {27, SIGNED},  {28, NOT_HERE}, {29, NOT_HERE}, {30, NOT_HERE}};

static uint32_t length_of(fs_cur span) { return span.end - span.off; }

static void read_component_index(fs_judge *judge, fs_cur *at) {
  if (fs_take(judge, at, 0) >= judge->component_count) fs_bad(judge);
}

static void read_value(fs_judge *judge, uint32_t type, fs_cur at) {
  switch (type) {
    case VENDOR:
      if (fs_byte(judge, at.off) >> 5 == 6) {
        fs_expect(judge, &at, 6, 112);
        (void)fs_string(judge, &at);
        break;
      }
      if (length_of(fs_string(judge, &at)) != 16) fs_bad(judge);
      break;
    case UUID:
      if (length_of(fs_string(judge, &at)) != 16) fs_bad(judge);
      break;
    case DIGEST:
      if (fs_digest(judge, fs_wrapped(judge, &at), FS_MANIFEST_DIGEST_ALGORITHM_UNKNOWN) == 0)
        fs_fail(judge, FS_MANIFEST_DIGEST_ALGORITHM_UNKNOWN);
      break;
    case NUMBER:
      (void)fs_take(judge, &at, 0);
      break;
    case NUMBER_64:
      if (fs_head(judge, &at) != 0) fs_bad(judge);
      break;
    case SIGNED:
      (void)fs_integer(judge, &at, judge->malformed);
      break;
    case FLAG:
      if ((fs_byte(judge, at.off) | 1) != 0xf5) fs_bad(judge);
      break;
    case STRING:
      if (length_of(fs_string(judge, &at)) > LARGEST_CONTENT) fs_bad(judge);
      break;
    case ENCRYPTION:
      fs_read_encryption_info(judge, fs_string(judge, &at));
      break;
    case LINK:
      (void)fs_take(judge, &at, 3);
      break;
    default:
      read_component_index(judge, &at);
      break;
  }
}

/* A unit of the kit decrypts with key-encryption keys only, and on the way into a slot only. */
static uint32_t decrypts(const fs_class *unit) { return unit->content_key_count > 0 && unit->map.shape == FS_SLOTS; }

/* The type of a parameter that is carried out here. */
static uint32_t read_parameter_code(fs_judge *judge, fs_cur *at, int32_t *code) {
  uint32_t i;
  *code = fs_integer(judge, at, FS_PARAMETER_UNKNOWN);
  if (*code <= HIGHEST_CUSTOM && judge->in_shared) fs_fail(judge, FS_COMMAND_MISPLACED);
  for (i = 0; i < sizeof PARAMETERS / sizeof *PARAMETERS; i++) {
    if (PARAMETERS[i][0] != *code) continue;
    if (PARAMETERS[i][1] == NOT_HERE || (PARAMETERS[i][1] == ENCRYPTION && !decrypts(judge->unit)))
      fs_fail(judge, FS_PARAMETER_UNSUPPORTED);
    return PARAMETERS[i][1];
  }
  /* A delta (docs/deployment-profile.md section 14) is known, and not taken by units of the kit. */
  fs_fail(judge, *code == HIGHEST_CUSTOM ? FS_PARAMETER_UNSUPPORTED : FS_PARAMETER_UNKNOWN);
  return NOT_HERE;
}

/* A digest is set with override-parameters only ([M] section 7; docs/processor-rules.md, rule 6). */
void fs_read_parameters(fs_judge *judge, fs_cur at, uint32_t may_be_overridden) {
  uint32_t count = fs_take(judge, &at, 5);
  uint32_t has_digest = 0;
  uint32_t i;
  if (count == 0) fs_bad(judge);
  for (i = 0; i < count && FS_GOOD(judge); i++) {
    int32_t code;
    uint32_t type = read_parameter_code(judge, &at, &code);
    if (!FS_GOOD(judge)) return;
    read_value(judge, type, at);
    if (code == 3) has_digest = 1;
    fs_skip(judge, &at);
  }
  if (may_be_overridden && has_digest) fs_bad(judge);
}

void fs_read_index(fs_judge *judge, fs_cur at) {
  uint32_t count;
  if (fs_byte(judge, at.off) == 0xf5) return;
  if (fs_byte(judge, at.off) >> 5 != 4) {
    read_component_index(judge, &at);
    return;
  }
  count = fs_take(judge, &at, 4);
  if (count == 0) fs_bad(judge);
  while (count-- > 0 && FS_GOOD(judge)) read_component_index(judge, &at);
}
