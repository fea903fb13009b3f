/* One certificate (RFC 5280 section 4.1), read strictly. */
#include "internal.h"

#define LARGEST_CERTIFICATE 16384u
#define LONGEST_SERIAL 20u
/* An Ed25519 key. */
#define SHORTEST_KEY 44u
#define IS(judge, span, bytes) fs_span_is((judge), (span), (bytes), sizeof(bytes))

static const uint8_t ECDSA_SHA256[] = {0x2a, 0x86, 0x48, 0xce, 0x3d, 0x04, 0x03, 0x02};
static const uint8_t ED25519[] = {0x2b, 0x65, 0x70};
static const uint8_t P256_KEY[] = {0x30, 0x59, 0x30, 0x13, 0x06, 0x07, 0x2a, 0x86, 0x48, 0xce, 0x3d, 0x02, 0x01, 0x06,
                                   0x08, 0x2a, 0x86, 0x48, 0xce, 0x3d, 0x03, 0x01, 0x07, 0x03, 0x42, 0x00, 0x04};
static const uint8_t ED25519_KEY[] = {0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00};
/* Algorithm of an HSS key, whole: that of a signature has the same identifier, which begins at 4. */
static const uint8_t HSS_LMS[] = {0x30, 0x0d, 0x06, 0x0b, 0x2a, 0x86, 0x48, 0x86,
                                  0xf7, 0x0d, 0x01, 0x09, 0x10, 0x03, 0x11};
static const uint8_t TRIAL_MARK[] = {'T', 'R', 'I', 'A', 'L', ' ', '-', ' ', 'n', 'o', 't', ' ', 'f',
                                     'o', 'r', ' ', 'p', 'r', 'o', 'd', 'u', 'c', 't', 'i', 'o', 'n'};
/* AlgorithmIdentifier: which of the profile's it is. Those take no parameters. */
static uint8_t read_algorithm(fs_judge *judge, fs_cur *at) {
  fs_cur inner = fs_der(judge, at, 0x30);
  fs_cur oid = fs_der_oid(judge, &inner, 0x06);
  uint8_t found = FS_KEY_OTHER;
  uint32_t tag;
  if (!FS_GOOD(judge)) return found;
  if (IS(judge, oid, ECDSA_SHA256)) found = FS_KEY_P256;
  if (IS(judge, oid, ED25519)) found = FS_KEY_ED25519;
  if (fs_span_is(judge, oid, HSS_LMS + 4, sizeof HSS_LMS - 4)) found = FS_KEY_HSS;
  if (inner.off == inner.end) return found;
  if (found != FS_KEY_OTHER) fs_bad(judge);
  (void)fs_der_any(judge, &inner, &tag);
  fs_der_end(judge, inner);
  return found;
}

/* One attribute of a name; 1 where it is the trial mark, or may be one in a form that is not read here. */
static uint8_t read_attribute(fs_judge *judge, fs_cur *at) {
  static const uint8_t UNIT_NAME[] = {0x55, 0x04, 0x0b};
  fs_cur inner = fs_der(judge, at, 0x30);
  fs_cur type = fs_der_oid(judge, &inner, 0x06);
  uint32_t tag;
  fs_cur value = fs_der_any(judge, &inner, &tag);
  fs_der_end(judge, inner);
  if (!FS_GOOD(judge)) return 0;
  if (!fs_der_text(judge, tag, value)) fs_bad(judge);
  if (!IS(judge, type, UNIT_NAME)) return 0;
  return tag == 0x1e || tag == 0x1c || IS(judge, value, TRIAL_MARK);
}

/* A Name (RFC 5280 section 4.1.2.4): its whole element. Members of a set ascend by their encoding. */
static FS_APART fs_cur read_name(fs_judge *judge, fs_cur *at, uint8_t *trial, uint32_t *parts) {
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
        int order = fs_order(judge, before.off, member.off, one < other ? one : other);
        if (order > 0 || (order == 0 && one > other)) fs_bad(judge);
      }
      before = member;
    }
  }
  return whole;
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

static FS_APART void read_key(fs_judge *judge, fs_cur *at, fs_certificate *into) {
  fs_cur inner;
  fs_cur algorithm;
  uint32_t unused;
  into->spki.off = at->off;
  inner = fs_der(judge, at, 0x30);
  into->spki.end = at->off;
  algorithm = fs_der(judge, &inner, 0x30);
  (void)fs_der_oid(judge, &algorithm, 0x06);
  if (algorithm.off < algorithm.end) (void)fs_der_any(judge, &algorithm, &unused);
  fs_der_end(judge, algorithm);
  (void)fs_der_bits(judge, &inner, 0x03, &unused);
  if (unused != 0) fs_bad(judge);
  fs_der_end(judge, inner);
  if (FS_GOOD(judge) && judge->size >= SHORTEST_KEY && into->spki.off <= judge->size - SHORTEST_KEY)
    into->key = fs_key_type(judge->b + into->spki.off, into->spki.end - into->spki.off);
}

/* An HSS key in a form that was read: 1 to 8 levels, types that are known and have its length (RFC 8554, RFC 9858, RFC 9802 4). */
static uint32_t is_hss(const uint8_t *spki, uint32_t length) {
  const uint8_t *key = spki + FS_HSS_AT;
  uint32_t shorter = length == FS_HSS_SHORT;
  if (!shorter && length != FS_HSS_LONG) return 0;
  return memcmp(spki + 2, HSS_LMS, sizeof HSS_LMS) == 0 && fs_get32(key, 4) - 1 < 8 &&
         fs_get32(key + 4, 4) - (shorter ? 10 : 5) < 5 && fs_get32(key + 8, 4) - (shorter ? 5 : 1) < 4;
}

uint8_t fs_key_type(const uint8_t *spki, uint32_t length) {
  if (length == 91 && memcmp(spki, P256_KEY, sizeof P256_KEY) == 0) return FS_KEY_P256;
  if (length == SHORTEST_KEY && memcmp(spki, ED25519_KEY, sizeof ED25519_KEY) == 0) return FS_KEY_ED25519;
  return is_hss(spki, length) ? FS_KEY_HSS : FS_KEY_OTHER;
}

static FS_APART void read_validity(fs_judge *judge, fs_cur *at, fs_certificate *into) {
  fs_cur validity = fs_der(judge, at, 0x30);
  int64_t end;
  into->too_early = (int64_t)judge->now < fs_der_time(judge, &validity);
  end = fs_der_time(judge, &validity);
  into->too_late = end != FS_LAST_SECOND && (int64_t)judge->now > end;
  fs_der_end(judge, validity);
}

/* TBSCertificate; gives its AlgorithmIdentifier, whole. */
static fs_cur read_tbs(fs_judge *judge, fs_cur at, fs_certificate *into) {
  uint32_t version = read_version(judge, &at);
  fs_cur serial = fs_der_integer(judge, &at, 0x02);
  fs_cur algorithm = at;
  uint32_t issuer_parts;
  uint32_t subject_parts;
  uint32_t names_critical = 0;
  uint32_t tag;
  if (serial.end - serial.off > LONGEST_SERIAL) fs_bad(judge);
  (void)read_algorithm(judge, &at);
  algorithm.end = at.off;
  into->issuer = read_name(judge, &at, &into->trial, &issuer_parts);
  read_validity(judge, &at, into);
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
    if (FS_GOOD(judge)) names_critical = fs_read_extensions(judge, list, into);
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
  certificate->algorithm = read_algorithm(judge, &inner);
  algorithm.end = inner.off;
  certificate->signature = fs_der_bits(judge, &inner, 0x03, &unused);
  if (unused != 0) fs_bad(judge);
  fs_der_end(judge, inner);
  if (!FS_GOOD(judge)) return;
  inner_algorithm = read_tbs(judge, tbs, certificate);
  if (FS_GOOD(judge) && !fs_spans_same(judge, algorithm, inner_algorithm)) fs_bad(judge);
}
