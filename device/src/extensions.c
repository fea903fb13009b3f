/* Extensions of a certificate (RFC 5280 section 4.2): those of the signer profile (docs/device-kit.md). */
#include "internal.h"

#define MOST_MEMBERS 256u
#define IS(judge, span, bytes) fs_span_is((judge), (span), (bytes), sizeof(bytes))

static const uint8_t CODE_SIGNING[] = {0x2b, 0x06, 0x01, 0x05, 0x05, 0x07, 0x03, 0x03};
static const uint8_t ANY_PURPOSE[] = {0x55, 0x1d, 0x25, 0x00};
/* The arc of our own identifiers, and what follows in each (docs/deployment-profile.md sections 2 and 15). */
static const uint8_t OUR_ARC[] = {0x2a, 0x86, 0x48, 0x86, 0xf7, 0x14, 0x01, 0xbe, 0x40, 0x93, 0x7a};
static const uint8_t GENERATION[] = {0x9e, 0x18, 0x81, 0xb0, 0x27, 0xc5, 0x3d, 0x81, 0x98, 0x1c, 0x82,
                                     0xd2, 0x4c, 0x82, 0xbc, 0xf2, 0x3a, 0x85, 0x82, 0xd2, 0x32};
static const uint8_t ROLE[] = {0xe5, 0x1f, 0x83, 0x9f, 0x17, 0x83, 0xe2, 0x1f, 0x81, 0x99,
                               0x67, 0x82, 0xcb, 0x2e, 0x85, 0x93, 0xef, 0x44, 0x81, 0xbb, 0xf9, 0x1c};
static const uint8_t TRUST_UPDATE[] = {0x83, 0x95, 0x78, 0xfe, 0x18, 0x81, 0xdd, 0x12, 0x81, 0x82, 0x27,
                                       0x82, 0xad, 0x24, 0x85, 0xa9, 0xed, 0x69, 0x87, 0x83, 0xa6, 0x62};
static const uint8_t ANNOUNCEMENT[] = {0x82, 0x96, 0x28, 0x83, 0x81, 0x63, 0x81, 0x82, 0x2c, 0x81, 0x9e,
                                       0x59, 0x82, 0xc0, 0x5d, 0x81, 0xca, 0xb3, 0x50, 0xd7, 0xde, 0x3d};

/* Whether an identifier is ours, and this one of them. */
static uint32_t is_ours(const fs_judge *judge, fs_cur oid, const uint8_t *rest, uint32_t length) {
  fs_cur tail = oid;
  if (oid.end - oid.off <= sizeof OUR_ARC) return 0;
  tail.off += sizeof OUR_ARC;
  return fs_holds(judge, oid.off, OUR_ARC, sizeof OUR_ARC) && fs_span_is(judge, tail, rest, length);
}

/* GeneralNames (RFC 5280 section 4.2.1.6): how many. Those that hold other elements are left to others. */
static uint32_t read_general_names(fs_judge *judge, fs_cur *at, fs_certificate *into) {
  uint32_t count;
  for (count = 0; at->off < at->end && FS_GOOD(judge); count++) {
    uint32_t tag = fs_der_next(judge, *at);
    fs_cur content = fs_der(judge, at, tag);
    if (tag >= 0xa0 || tag == 0x88)
      into->unsupported = 1;
    else if (tag == 0x81 || tag == 0x82 || tag == 0x86) {
      for (; content.off < content.end; content.off++)
        if (fs_byte(judge, content.off) < '!' || fs_byte(judge, content.off) > '~') fs_bad(judge);
    } else if (tag != 0x87)
      fs_bad(judge);
  }
  return count;
}

static void read_purposes(fs_judge *judge, fs_cur *at, fs_certificate *into) {
  fs_cur list = fs_der(judge, at, 0x30);
  uint32_t count = 0;
  into->has_purposes = 1;
  while (list.off < list.end && FS_GOOD(judge)) {
    fs_cur oid = fs_der_oid(judge, &list, 0x06);
    count++;
    if (IS(judge, oid, CODE_SIGNING)) into->purposes |= FS_PURPOSE_RELEASE;
    if (IS(judge, oid, ANY_PURPOSE)) into->purposes |= FS_PURPOSE_ANY;
    if (is_ours(judge, oid, TRUST_UPDATE, sizeof TRUST_UPDATE)) into->purposes |= FS_PURPOSE_TRUST;
    if (is_ours(judge, oid, ANNOUNCEMENT, sizeof ANNOUNCEMENT)) into->purposes |= FS_PURPOSE_ANNOUNCEMENT;
  }
  if (count == 0 || count > MOST_MEMBERS) fs_bad(judge);
}

static void read_key_usage(fs_judge *judge, fs_cur *at, fs_certificate *into) {
  uint32_t unused;
  fs_cur bits = fs_der_bits(judge, at, 0x03, &unused);
  uint32_t any = 0;
  if (!FS_GOOD(judge)) return;
  into->key_usage = FS_USAGE_PRESENT;
  if (bits.off < bits.end) into->key_usage |= fs_byte(judge, bits.off);
  for (; bits.off < bits.end; bits.off++) any |= fs_byte(judge, bits.off);
  if (any == 0) fs_bad(judge);
}

/* Lower-case letters, digits and inner dashes; 1 to 32 characters, a letter first. */
static void read_role(fs_judge *judge, fs_cur *at) {
  fs_cur text = fs_der(judge, at, 0x0c);
  uint32_t i;
  if (text.end - text.off < 1 || text.end - text.off > 32) fs_bad(judge);
  for (i = text.off; i < text.end && FS_GOOD(judge); i++) {
    uint32_t c = fs_byte(judge, i);
    uint32_t letter = c >= 'a' && c <= 'z';
    uint32_t inner = (c >= '0' && c <= '9') || (c == '-' && i + 1 < text.end);
    if (!letter && (!inner || i == text.off)) fs_bad(judge);
  }
}

static void read_authority_key(fs_judge *judge, fs_cur *at, fs_certificate *into) {
  fs_cur inner = fs_der(judge, at, 0x30);
  if (fs_der_next(judge, inner) == 0x80) (void)fs_der(judge, &inner, 0x80);
  if (fs_der_next(judge, inner) == 0xa1) {
    fs_cur names = fs_der(judge, &inner, 0xa1);
    (void)read_general_names(judge, &names, into);
  }
  if (fs_der_next(judge, inner) == 0x82) (void)fs_der_integer(judge, &inner, 0x82);
  fs_der_end(judge, inner);
}

static void read_constraints(fs_judge *judge, fs_cur *at, fs_certificate *into) {
  fs_cur inner = fs_der(judge, at, 0x30);
  into->is_authority = fs_der_flag(judge, &inner) ? 1 : 0;
  if (inner.off < inner.end) into->path_length = fs_der_unsigned(judge, &inner, 0x02);
  fs_der_end(judge, inner);
}

static void read_names(fs_judge *judge, fs_cur *at, fs_certificate *into) {
  fs_cur list = fs_der(judge, at, 0x30);
  uint32_t count;
  into->names = list;
  count = read_general_names(judge, &list, into);
  if (count == 0 || count > MOST_MEMBERS) fs_bad(judge);
}

typedef struct {
  fs_cur oid;
  fs_cur value;
  uint32_t critical;
} extension;

/* The content of one extension. What is known elsewhere and not here is never passed over. */
static void read_known(fs_judge *judge, const extension *one, fs_certificate *into) {
  fs_cur oid = one->oid;
  fs_cur value = one->value;
  uint32_t standard = oid.end - oid.off == 3 && fs_byte(judge, oid.off) == 0x55 && fs_byte(judge, oid.off + 1) == 0x1d;
  uint32_t number = standard ? fs_byte(judge, oid.off + 2) : 0;
  if (number == 19)
    read_constraints(judge, &value, into);
  else if (number == 15)
    read_key_usage(judge, &value, into);
  else if (number == 37)
    read_purposes(judge, &value, into);
  else if (number == 17)
    read_names(judge, &value, into);
  else if (number == 14)
    (void)fs_der(judge, &value, 0x04);
  else if (number == 35)
    read_authority_key(judge, &value, into);
  else if (is_ours(judge, oid, GENERATION, sizeof GENERATION))
    into->generation = fs_der_unsigned(judge, &value, 0x02);
  else if (is_ours(judge, oid, ROLE, sizeof ROLE))
    read_role(judge, &value);
  else {
    /* Name constraints, policies, mappings, policy constraints, inhibit any policy. */
    if (one->critical || number == 30 || number == 32 || number == 33 || number == 36 || number == 54)
      into->unsupported = 1;
    return;
  }
  fs_der_end(judge, value);
}

static void read_extension(fs_judge *judge, fs_cur *at, extension *into) {
  fs_cur inner = fs_der(judge, at, 0x30);
  into->oid = fs_der_oid(judge, &inner, 0x06);
  into->critical = fs_der_flag(judge, &inner);
  into->value = fs_der(judge, &inner, 0x04);
  fs_der_end(judge, inner);
}

/* Whether none before `end` has this identifier. */
static FS_APART void judge_repeated(fs_judge *judge, fs_cur list, fs_cur oid) {
  extension other;
  while (list.off < list.end && FS_GOOD(judge)) {
    read_extension(judge, &list, &other);
    if (fs_spans_same(judge, oid, other.oid)) fs_bad(judge);
  }
}

/* Each at most once. Gives whether the names are critical. */
uint32_t fs_read_extensions(fs_judge *judge, fs_cur list, fs_certificate *into) {
  fs_cur earlier = {list.off, list.off};
  uint32_t count = 0;
  uint32_t names_critical = 0;
  extension one;
  while (list.off < list.end && FS_GOOD(judge)) {
    earlier.end = list.off;
    read_extension(judge, &list, &one);
    count++;
    judge_repeated(judge, earlier, one.oid);
    if (!FS_GOOD(judge)) return 0;
    read_known(judge, &one, into);
    if (into->names.end == one.value.end && one.critical) names_critical = 1;
  }
  if (count == 0 || count > MOST_MEMBERS) fs_bad(judge);
  return names_critical;
}
