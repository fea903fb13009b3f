/* One certificate (RFC 5280 section 4.1), read strictly. Extensions: those of the signer profile (docs/device-kit.md). */
#include "internal.h"

#define LARGEST_CERTIFICATE 16384u
#define LONGEST_SERIAL 20u
#define MOST_MEMBERS 256u
#define IS(judge, span, bytes) fs_span_is((judge), (span), (bytes), sizeof(bytes))

static const uint8_t ECDSA_SHA256[] = {0x2a, 0x86, 0x48, 0xce, 0x3d, 0x04, 0x03, 0x02};
static const uint8_t ED25519[] = {0x2b, 0x65, 0x70};
static const uint8_t HSS_LMS[] = {0x2a, 0x86, 0x48, 0x86, 0xf7, 0x0d, 0x01, 0x09, 0x10, 0x03, 0x11};
static const uint8_t P256_KEY[] = {0x30, 0x59, 0x30, 0x13, 0x06, 0x07, 0x2a, 0x86, 0x48, 0xce, 0x3d, 0x02, 0x01, 0x06,
                                   0x08, 0x2a, 0x86, 0x48, 0xce, 0x3d, 0x03, 0x01, 0x07, 0x03, 0x42, 0x00, 0x04};
static const uint8_t ED25519_KEY[] = {0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00};
static const uint8_t TRIAL_MARK[] = {'T', 'R', 'I', 'A', 'L', ' ', '-', ' ', 'n', 'o', 't', ' ', 'f',
                                     'o', 'r', ' ', 'p', 'r', 'o', 'd', 'u', 'c', 't', 'i', 'o', 'n'};
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
  return memcmp(judge->b + oid.off, OUR_ARC, sizeof OUR_ARC) == 0 && fs_span_is(judge, tail, rest, length);
}

/* AlgorithmIdentifier: which of the profile's it is. Those take no parameters. */
static uint8_t read_algorithm(fs_judge *judge, fs_cur *at, uint32_t depth) {
  fs_cur inner = fs_der(judge, at, 0x30);
  fs_cur oid = fs_der_oid(judge, &inner, 0x06);
  uint8_t found = FS_KEY_OTHER;
  if (!FS_GOOD(judge)) return found;
  if (IS(judge, oid, ECDSA_SHA256)) found = FS_KEY_P256;
  if (IS(judge, oid, ED25519)) found = FS_KEY_ED25519;
  if (inner.off == inner.end) return found;
  if (found != FS_KEY_OTHER || IS(judge, oid, HSS_LMS)) fs_bad(judge);
  fs_der_any(judge, &inner, depth);
  fs_der_end(judge, inner);
  return found;
}

/* One attribute of a name; 1 where it is the trial mark, or may be one in a form that is not read here. */
static uint8_t read_attribute(fs_judge *judge, fs_cur *at) {
  static const uint8_t UNIT_NAME[] = {0x55, 0x04, 0x0b};
  fs_cur inner = fs_der(judge, at, 0x30);
  fs_cur type = fs_der_oid(judge, &inner, 0x06);
  uint32_t tag = fs_der_next(judge, inner);
  fs_cur value = inner;
  fs_der_any(judge, &inner, 11);
  fs_der_end(judge, inner);
  if (!FS_GOOD(judge)) return 0;
  value = fs_der(judge, &value, tag);
  if (!fs_der_text(judge, tag, value)) fs_bad(judge);
  if (!IS(judge, type, UNIT_NAME)) return 0;
  return tag == 0x1e || tag == 0x1c || IS(judge, value, TRIAL_MARK);
}

/* A Name (RFC 5280 section 4.1.2.4): its whole element. Members of a set ascend by their encoding. */
static fs_cur read_name(fs_judge *judge, fs_cur *at, uint8_t *trial, uint32_t *parts) {
  fs_cur whole = *at;
  fs_cur inner = fs_der(judge, at, 0x30);
  whole.end = at->off;
  *parts = inner.end - inner.off;
  while (inner.off < inner.end && FS_GOOD(judge)) {
    fs_cur set = fs_der(judge, &inner, 0x31);
    fs_cur before = {0, 0};
    if (set.off == set.end) fs_bad(judge);
    while (set.off < set.end && FS_GOOD(judge)) {
      fs_cur member = set;
      *trial |= read_attribute(judge, &set);
      member.end = set.off;
      if (!FS_ABSENT(before) && FS_GOOD(judge)) {
        uint32_t one = before.end - before.off;
        uint32_t other = member.end - member.off;
        int order = memcmp(judge->b + before.off, judge->b + member.off, one < other ? one : other);
        if (order > 0 || (order == 0 && one > other)) fs_bad(judge);
      }
      before = member;
    }
  }
  return whole;
}

/* One GeneralName (RFC 5280 section 4.2.1.6). */
static void read_general_name(fs_judge *judge, fs_cur *at) {
  uint32_t tag = fs_der_next(judge, *at);
  uint32_t number = tag & 0x1f;
  uint8_t trial = 0;
  uint32_t parts;
  fs_cur content;
  if (tag == 0x81 || tag == 0x82 || tag == 0x86) {
    content = fs_der(judge, at, tag);
    for (; content.off < content.end; content.off++)
      if (judge->b[content.off] < '!' || judge->b[content.off] > '~') fs_bad(judge);
  } else if (tag == 0xa4) {
    content = fs_der(judge, at, tag);
    (void)read_name(judge, &content, &trial, &parts);
    fs_der_end(judge, content);
  } else if (tag == 0x88)
    (void)fs_der_oid(judge, at, tag);
  else {
    fs_der_any(judge, at, 8);
    if (tag != 0x87 && (tag < 0xa0 || (number != 0 && number != 3 && number != 5))) fs_bad(judge);
  }
}

static uint32_t read_general_names(fs_judge *judge, fs_cur *at) {
  uint32_t count = 0;
  while (at->off < at->end && FS_GOOD(judge)) {
    read_general_name(judge, at);
    count++;
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
  if (bits.off < bits.end) into->key_usage |= judge->b[bits.off];
  for (; bits.off < bits.end; bits.off++) any |= judge->b[bits.off];
  if (any == 0) fs_bad(judge);
}

/* Lower-case letters, digits and inner dashes; 1 to 32 characters, a letter first. */
static void read_role(fs_judge *judge, fs_cur *at) {
  fs_cur text = fs_der(judge, at, 0x0c);
  uint32_t i;
  if (text.end - text.off < 1 || text.end - text.off > 32) fs_bad(judge);
  for (i = text.off; i < text.end && FS_GOOD(judge); i++) {
    uint32_t c = judge->b[i];
    uint32_t letter = c >= 'a' && c <= 'z';
    uint32_t inner = (c >= '0' && c <= '9') || (c == '-' && i + 1 < text.end);
    if (!letter && (!inner || i == text.off)) fs_bad(judge);
  }
}

static void read_authority_key(fs_judge *judge, fs_cur *at) {
  fs_cur inner = fs_der(judge, at, 0x30);
  if (fs_der_next(judge, inner) == 0x80) (void)fs_der(judge, &inner, 0x80);
  if (fs_der_next(judge, inner) == 0xa1) {
    fs_cur names = fs_der(judge, &inner, 0xa1);
    (void)read_general_names(judge, &names);
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
  count = read_general_names(judge, &list);
  if (count == 0 || count > MOST_MEMBERS) fs_bad(judge);
}

/* The content of one extension. What is known elsewhere and not here is never passed over. */
static void read_known(fs_judge *judge, fs_cur oid, fs_cur value, uint32_t critical, fs_certificate *into) {
  uint32_t standard = oid.end - oid.off == 3 && judge->b[oid.off] == 0x55 && judge->b[oid.off + 1] == 0x1d;
  uint32_t number = standard ? judge->b[oid.off + 2] : 0;
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
    read_authority_key(judge, &value);
  else if (is_ours(judge, oid, GENERATION, sizeof GENERATION))
    into->generation = fs_der_unsigned(judge, &value, 0x02);
  else if (is_ours(judge, oid, ROLE, sizeof ROLE))
    read_role(judge, &value);
  else {
    /* Name constraints, policies, mappings, policy constraints, inhibit any policy. */
    if (critical || number == 30 || number == 32 || number == 33 || number == 36 || number == 54)
      into->unsupported = 1;
    return;
  }
  fs_der_end(judge, value);
}

static fs_cur read_extension(fs_judge *judge, fs_cur *at, fs_cur *value, uint32_t *critical) {
  fs_cur inner = fs_der(judge, at, 0x30);
  fs_cur oid = fs_der_oid(judge, &inner, 0x06);
  *critical = fs_der_flag(judge, &inner);
  *value = fs_der(judge, &inner, 0x04);
  fs_der_end(judge, inner);
  return oid;
}

/* Each at most once. Gives whether the names are critical. */
static uint32_t read_extensions(fs_judge *judge, fs_cur list, fs_certificate *into) {
  fs_cur at = list;
  uint32_t count = 0;
  uint32_t names_critical = 0;
  while (at.off < at.end && FS_GOOD(judge)) {
    fs_cur earlier = list;
    fs_cur value;
    uint32_t critical;
    fs_cur oid;
    uint32_t before = at.off;
    oid = read_extension(judge, &at, &value, &critical);
    count++;
    while (earlier.off < before && FS_GOOD(judge)) {
      fs_cur ignored;
      uint32_t flag;
      fs_cur other = read_extension(judge, &earlier, &ignored, &flag);
      if (fs_spans_same(judge, oid, other)) fs_bad(judge);
    }
    if (!FS_GOOD(judge)) return 0;
    read_known(judge, oid, value, critical, into);
    if (into->names.end == value.end && critical) names_critical = 1;
  }
  if (count == 0 || count > MOST_MEMBERS) fs_bad(judge);
  return names_critical;
}

static uint32_t read_version(fs_judge *judge, fs_cur *at) {
  fs_cur inner;
  uint32_t value;
  if (fs_der_next(judge, *at) != 0xa0) return 1;
  inner = fs_der(judge, at, 0xa0);
  value = fs_der_unsigned(judge, &inner, 0x02);
  fs_der_end(judge, inner);
  if (value != 1 && value != 2) fs_bad(judge);
  return value + 1;
}

static void read_key(fs_judge *judge, fs_cur *at, fs_certificate *into) {
  fs_cur inner;
  fs_cur algorithm;
  uint32_t unused;
  into->spki.off = at->off;
  inner = fs_der(judge, at, 0x30);
  into->spki.end = at->off;
  algorithm = fs_der(judge, &inner, 0x30);
  (void)fs_der_oid(judge, &algorithm, 0x06);
  if (algorithm.off < algorithm.end) fs_der_any(judge, &algorithm, 12);
  fs_der_end(judge, algorithm);
  (void)fs_der_bits(judge, &inner, 0x03, &unused);
  if (unused != 0) fs_bad(judge);
  fs_der_end(judge, inner);
  if (FS_GOOD(judge)) into->key = fs_key_type(judge->b + into->spki.off, into->spki.end - into->spki.off);
}

uint8_t fs_key_type(const uint8_t *spki, uint32_t length) {
  if (length == 91 && memcmp(spki, P256_KEY, sizeof P256_KEY) == 0) return FS_KEY_P256;
  if (length == 44 && memcmp(spki, ED25519_KEY, sizeof ED25519_KEY) == 0) return FS_KEY_ED25519;
  return FS_KEY_OTHER;
}

/* TBSCertificate; gives its AlgorithmIdentifier, whole. */
static fs_cur read_tbs(fs_judge *judge, fs_cur at, fs_certificate *into) {
  uint32_t version = read_version(judge, &at);
  fs_cur serial = fs_der_integer(judge, &at, 0x02);
  fs_cur algorithm = at;
  fs_cur validity;
  uint32_t issuer_parts;
  uint32_t subject_parts;
  uint32_t names_critical = 0;
  uint32_t tag;
  if (serial.end - serial.off > LONGEST_SERIAL) fs_bad(judge);
  (void)read_algorithm(judge, &at, 13);
  algorithm.end = at.off;
  into->issuer = read_name(judge, &at, &into->trial, &issuer_parts);
  validity = fs_der(judge, &at, 0x30);
  into->not_before = fs_der_time(judge, &validity);
  into->not_after = fs_der_time(judge, &validity);
  if (into->not_after == FS_LAST_SECOND) into->not_after = FS_NO_END;
  fs_der_end(judge, validity);
  into->subject = read_name(judge, &at, &into->trial, &subject_parts);
  read_key(judge, &at, into);
  for (tag = 0x81; tag <= 0x82; tag++) {
    uint32_t unused;
    if (fs_der_next(judge, at) != tag) continue;
    if (version == 1) fs_bad(judge);
    (void)fs_der_bits(judge, &at, tag, &unused);
  }
  if (fs_der_next(judge, at) == 0xa3) {
    fs_cur tagged = fs_der(judge, &at, 0xa3);
    fs_cur list = fs_der(judge, &tagged, 0x30);
    fs_der_end(judge, tagged);
    if (version != 3) fs_bad(judge);
    if (FS_GOOD(judge)) names_critical = read_extensions(judge, list, into);
  }
  fs_der_end(judge, at);
  if (issuer_parts == 0) fs_bad(judge);
  if (subject_parts == 0 && (!names_critical || into->is_authority)) fs_bad(judge);
  return algorithm;
}

void fs_read_certificate(fs_judge *judge, fs_cur der, fs_certificate *certificate) {
  fs_cur inner;
  fs_cur tbs;
  fs_cur algorithm;
  fs_cur inner_algorithm;
  uint32_t unused;
  memset(certificate, 0, sizeof *certificate);
  certificate->path_length = FS_NO_LIMIT;
  if (der.end - der.off > LARGEST_CERTIFICATE) fs_bad(judge);
  inner = fs_der(judge, &der, 0x30);
  fs_der_end(judge, der);
  certificate->tbs.off = inner.off;
  tbs = fs_der(judge, &inner, 0x30);
  certificate->tbs.end = inner.off;
  algorithm = inner;
  certificate->algorithm = read_algorithm(judge, &inner, 14);
  algorithm.end = inner.off;
  certificate->signature = fs_der_bits(judge, &inner, 0x03, &unused);
  if (unused != 0) fs_bad(judge);
  fs_der_end(judge, inner);
  if (!FS_GOOD(judge)) return;
  inner_algorithm = read_tbs(judge, tbs, certificate);
  if (FS_GOOD(judge) && !fs_spans_same(judge, algorithm, inner_algorithm)) fs_bad(judge);
}
