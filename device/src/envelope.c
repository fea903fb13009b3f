/* Step 1: the shell of an envelope and the digest over its manifest; nothing inside the manifest is read. */
#include "internal.h"

#define LARGEST_ENTRIES 32u
#define LARGEST_KEY 512u
#define LARGEST_WRAPPER 65536u
#define LARGEST_SEVERED 262144u
#define LARGEST_BLOCKS 512u
#define LARGEST_NUMBER_KEY UINT64_C(0x1fffffffffffff)

/* One element: its key, a number or a text, and its byte string. */
typedef struct {
  uint32_t number;
  fs_cur text;
  fs_cur string;
  fs_cur content;
} entry;

static void read_key(fs_judge *judge, fs_cur *at, entry *found) {
  uint32_t major = fs_head(judge, at);
  uint32_t argument = judge->argument;
  if (!FS_GOOD(judge)) return;
  if (major == 0 && judge->wide <= LARGEST_NUMBER_KEY) {
    found->number = argument;
    return;
  }
  if (major != 3) {
    fs_fail(judge, FS_ENVELOPE_ELEMENT_UNKNOWN);
    return;
  }
  if (argument > at->end - at->off) fs_bad(judge);
  if (argument > LARGEST_KEY) fs_fail(judge, judge->limit);
  if (!FS_GOOD(judge)) return;
  found->text.off = at->off;
  at->off += argument;
  found->text.end = at->off;
  if (!fs_is_utf8(judge, found->text)) fs_bad(judge);
}

static void read_entry(fs_judge *judge, fs_cur *at, entry *found) {
  memset(found, 0, sizeof *found);
  read_key(judge, at, found);
  found->string.off = at->off;
  found->content = fs_string(judge, at);
  found->string.end = at->off;
}

/* Keys ascend by their encoded bytes: numbers, then texts by length and content. */
static uint32_t ascends(const fs_judge *judge, const entry *before, const entry *next) {
  uint32_t one = before->text.end - before->text.off;
  uint32_t other = next->text.end - next->text.off;
  if (FS_ABSENT(before->text) || FS_ABSENT(next->text))
    return FS_ABSENT(before->text) && (!FS_ABSENT(next->text) || before->number < next->number);
  if (one != other) return one < other;
  return fs_order(judge, before->text.off, next->text.off, one) < 0;
}

static void take_entry(fs_judge *judge, const entry *found) {
  uint32_t length = found->content.end - found->content.off;
  uint32_t severed = FS_AMONG(found->number, FS_SEVERABLE);
  if (!FS_ABSENT(found->text)) {
    judge->integrated = 1;
    return;
  }
  if (found->number != 2 && found->number != 3 && !severed) fs_fail(judge, FS_ENVELOPE_ELEMENT_UNKNOWN);
  if (length > (severed ? LARGEST_SEVERED : LARGEST_WRAPPER)) fs_fail(judge, judge->limit);
  if (found->number == 2) judge->blocks = found->content;
  if (found->number == 3) judge->manifest = found->string;
}

static void read_shell(fs_judge *judge) {
  fs_cur at = {0, judge->size};
  entry before;
  entry next;
  uint32_t count;
  uint32_t i;
  uint32_t major = fs_head(judge, &at);
  memset(&before, 0, sizeof before);
  if (major == 6) {
    if (judge->argument != 107) fs_bad(judge);
    major = fs_head(judge, &at);
  }
  if (major != 5) fs_bad(judge);
  count = judge->argument;
  if (count > LARGEST_ENTRIES) fs_fail(judge, judge->limit);
  judge->entries = at.off;
  for (i = 0; i < count && FS_GOOD(judge); i++) {
    read_entry(judge, &at, &next);
    if (next.number == 2 && !FS_ABSENT(judge->manifest)) fs_fail(judge, FS_WRAPPER_AFTER_MANIFEST);
    if (i > 0 && !ascends(judge, &before, &next)) fs_bad(judge);
    take_entry(judge, &next);
    judge->entry_count++;
    before = next;
  }
  if (at.off != at.end) fs_bad(judge);
  if (FS_ABSENT(judge->blocks) || FS_ABSENT(judge->manifest)) fs_fail(judge, FS_ENVELOPE_INCOMPLETE);
}

/* SUIT_Authentication: a wrapped digest, then wrapped blocks. Leaves `blocks` at the first block. */
static void read_wrapper(fs_judge *judge, uint32_t *digest) {
  fs_cur at = judge->blocks;
  fs_cur skipped;
  uint32_t count;
  uint32_t i;
  fs_valid(judge, at, FS_ITEMS, 0);
  count = fs_take(judge, &at, 4);
  skipped = at;
  for (i = 0; i < count && FS_GOOD(judge); i++) (void)fs_string(judge, &skipped);
  if (count == 0) fs_fail(judge, FS_ENVELOPE_INCOMPLETE);
  if (count > LARGEST_BLOCKS + 1) fs_fail(judge, judge->limit);
  judge->digest = fs_wrapped(judge, &at);
  *digest = fs_digest(judge, judge->digest, FS_DIGEST_ALGORITHM_UNKNOWN);
  judge->blocks = at;
  judge->block_count = (uint16_t)(count - 1);
}

static void check_blocks(fs_judge *judge) {
  fs_cur at = judge->blocks;
  uint32_t i;
  judge->malformed = FS_AUTHENTICATION_BLOCK_MALFORMED;
  judge->limit = FS_AUTHENTICATION_BLOCK_MALFORMED;
  for (i = 0; i < judge->block_count && FS_GOOD(judge); i++) {
    fs_block block;
    fs_read_block(judge, fs_string(judge, &at), &block);
  }
}

void fs_step_envelope(fs_judge *judge) {
  uint8_t found[32];
  fs_bytes part;
  uint32_t digest = 0;
  judge->malformed = FS_ENVELOPE_MALFORMED;
  judge->limit = FS_ENVELOPE_TOO_LARGE;
  if (fs_is_message(judge->b, judge->size)) fs_fail(judge, FS_MESSAGE_MALFORMED);
  read_shell(judge);
  if (FS_GOOD(judge)) read_wrapper(judge, &digest);
  if (FS_GOOD(judge)) check_blocks(judge);
  if (!FS_GOOD(judge)) return;
  if (digest == 0) fs_fail(judge, FS_DIGEST_ALGORITHM_UNKNOWN);
  if (!FS_GOOD(judge)) return;
  judge->manifest_digest = digest;
  part.bytes = judge->b + judge->manifest.off;
  part.length = judge->manifest.end - judge->manifest.off;
  if (fs_hash(judge->crypto, &part, 1, found) != FS_OK || fs_same(found, judge->b + digest, 32) != FS_OK)
    fs_fail(judge, FS_MANIFEST_DIGEST_WRONG);
  judge->evidence.digest = fs_differs(found, judge->b + digest, 32) ^ FS_CONFIRMED;
}

fs_pair fs_entry_r(fs_judge *judge, fs_cur text, uint32_t number) {
  fs_cur at = {judge->entries, judge->size};
  fs_cur none = {0, 0};
  uint32_t i;
  for (i = 0; i < judge->entry_count; i++) {
    entry found;
    read_entry(judge, &at, &found);
    if (FS_ABSENT(text) != FS_ABSENT(found.text)) continue;
    if (FS_ABSENT(text) ? found.number == number : fs_spans_same(judge, found.text, text)) return fs_pair_of(found.string);
  }
  return fs_pair_of(none);
}
