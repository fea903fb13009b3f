/* DER (ITU-T X.690 sections 8, 10 and 11), strictly, by absolute offsets. */
#include "internal.h"

#define LONGEST_OID 128u
#define LARGEST_NUMBER UINT64_C(0x1fffffffffffff)

void fs_der_end(fs_judge *judge, fs_cur at) {
  if (at.off != at.end) fs_bad(judge);
}

/* Of the universal types, only these hold other elements in DER: EXTERNAL, EMBEDDED PDV, SEQUENCE and SET. */
static uint32_t is_constructed_type(uint32_t tag) {
  uint32_t number = tag & 0x1f;
  return number == 0x08 || number == 0x0b || number == 0x10 || number == 0x11;
}

/* Length of up to four bytes, minimal. */
static uint32_t read_length(fs_judge *judge, fs_cur *at) {
  uint32_t first = fs_der_next(judge, *at);
  uint32_t count = first & 0x7f;
  uint32_t length;
  if (at->off == at->end) fs_bad(judge);
  at->off++;
  if (first < 0x80) return first;
  if (count == 0 || count > 4 || at->end - at->off < count || fs_byte(judge, at->off) == 0) {
    fs_bad(judge);
    return 0;
  }
  length = (uint32_t)fs_number_at(judge, at->off, count);
  at->off += count;
  if (length < 0x80) fs_bad(judge);
  return length;
}

/* The content of the next element. */
static fs_pair read_any(fs_judge *judge, fs_cur *at, uint32_t *tag) {
  uint32_t length;
  *tag = fs_der_next(judge, *at);
  if (at->off == at->end || (*tag & 0x1f) == 0x1f) fs_bad(judge);
  if (*tag < 0x40 && is_constructed_type(*tag) != (*tag >> 5 & 1u)) fs_bad(judge);
  if (!FS_GOOD(judge)) return 0;
  at->off++;
  length = read_length(judge, at);
  if (length > at->end - at->off) fs_bad(judge);
  if (!FS_GOOD(judge)) return 0;
  at->off += length;
  return fs_pair_of((fs_cur){at->off - length, at->off});
}

fs_pair fs_der_r(fs_judge *judge, fs_cur *at, uint32_t tag) {
  uint32_t found;
  fs_pair content = read_any(judge, at, &found);
  if (found != tag) fs_bad(judge);
  return content;
}

/* Whatever is next, if it holds no other elements. */
fs_pair fs_der_any_r(fs_judge *judge, fs_cur *at, uint32_t *tag) {
  fs_pair content = read_any(judge, at, tag);
  if ((*tag & 0x20) != 0) fs_bad(judge);
  return content;
}

fs_pair fs_der_integer_r(fs_judge *judge, fs_cur *at, uint32_t tag) {
  fs_cur content = fs_der(judge, at, tag);
  uint32_t first = fs_byte(judge, content.off);
  uint32_t second = fs_byte(judge, content.off + 1);
  uint32_t length = content.end - content.off;
  if (length == 0) fs_bad(judge);
  if (length > 1 && ((first == 0 && second < 0x80) || (first == 0xff && second >= 0x80))) fs_bad(judge);
  return fs_pair_of(content);
}

uint32_t fs_der_unsigned(fs_judge *judge, fs_cur *at, uint32_t tag) {
  fs_cur content = fs_der_integer(judge, at, tag);
  uint64_t value;
  if (content.end - content.off > 8 || (fs_byte(judge, content.off) & 0x80) != 0) fs_bad(judge);
  if (!FS_GOOD(judge)) return 0;
  value = fs_number_at(judge, content.off, content.end - content.off);
  if (value > LARGEST_NUMBER) fs_bad(judge);
  return value > UINT32_MAX ? UINT32_MAX : (uint32_t)value;
}

/* BOOLEAN DEFAULT FALSE: absent is false, and a false that is written out is refused. */
uint32_t fs_der_flag(fs_judge *judge, fs_cur *at) {
  fs_cur content;
  if (fs_der_next(judge, *at) != 0x01) return 0;
  content = fs_der(judge, at, 0x01);
  if (content.end - content.off != 1 || fs_byte(judge, content.off) != 0xff) fs_bad(judge);
  return 1;
}

fs_pair fs_der_oid_r(fs_judge *judge, fs_cur *at, uint32_t tag) {
  fs_cur content = fs_der(judge, at, tag);
  uint32_t length = content.end - content.off;
  uint32_t before = 0;
  uint32_t i;
  if (length == 0 || length > LONGEST_OID) fs_bad(judge);
  for (i = content.off; i < content.end && FS_GOOD(judge); i++) {
    if (fs_byte(judge, i) == 0x80 && before < 0x80) fs_bad(judge);
    before = fs_byte(judge, i);
  }
  if (before >= 0x80) fs_bad(judge);
  return fs_pair_of(content);
}

fs_pair fs_der_bits_r(fs_judge *judge, fs_cur *at, uint32_t tag, uint32_t *unused) {
  fs_cur content = fs_der(judge, at, tag);
  *unused = 0;
  if (content.off == content.end) fs_bad(judge);
  if (!FS_GOOD(judge)) return fs_pair_of(content);
  *unused = fs_byte(judge, content.off++);
  if (*unused > 7 || (*unused > 0 && content.off == content.end)) fs_bad(judge);
  if (FS_GOOD(judge) && *unused > 0 && (fs_byte(judge, content.end - 1) & ((1u << *unused) - 1)) != 0) fs_bad(judge);
  return fs_pair_of(content);
}

/* PrintableString: letters, digits, space and '()+,-./:=? (X.680 41.4); a bit for each character of ASCII. */
static uint32_t is_printable(uint32_t c) {
  static const uint32_t PRINTABLE[4] = {0, 0xa7fffb81, 0x07fffffe, 0x07fffffe};
  return c < 0x80 && (PRINTABLE[c / 32] >> c % 32 & 1u) != 0;
}

/* Whether a value of a name is well-formed: each text type has its characters, what is no text may hold anything. */
uint32_t fs_der_text(fs_judge *judge, uint32_t tag, fs_cur content) {
  uint32_t length = content.end - content.off;
  uint32_t width = tag == 0x1e ? 2 : tag == 0x1c ? 4 : 1;
  uint32_t i;
  if (tag == 0x0c) return fs_is_utf8(judge, content);
  if (length % width != 0) return 0;
  for (i = content.off; i < content.end; i += width) {
    uint32_t c = (uint32_t)fs_number_at(judge, i, width);
    if (width > 1 && (c > 0x10ffff || (c >= 0xd800 && c <= 0xdfff))) return 0;
    if (tag == 0x13 && !is_printable(c)) return 0;
    if (tag == 0x12 && c != ' ' && (c < '0' || c > '9')) return 0;
    if ((tag == 0x16 || tag == 0x1a) && c >= 0x80) return 0;
  }
  return 1;
}

static uint32_t two_digits(fs_judge *judge, uint32_t *at) {
  uint32_t tens = fs_byte(judge, *at) - (uint32_t)'0';
  uint32_t ones = fs_byte(judge, *at + 1) - (uint32_t)'0';
  *at += 2;
  if (tens <= 9 && ones <= 9) return tens * 10 + ones;
  fs_bad(judge);
  return 0;
}

/* Days from 1970-01-01 in the Gregorian calendar; years from March, so that leap days come last. */
static int32_t days_of(uint32_t year, uint32_t month, uint32_t day) {
  uint32_t y = month > 2 ? year + 400 : year + 399;
  uint32_t m = month > 2 ? month - 3 : month + 9;
  return (int32_t)(y * 365 + y / 4 - y / 100 + y / 400 + (m * 153 + 2) / 5 + day - 1) - 865565;
}

/* A UTCTime (years 1950 to 2049) or GeneralizedTime in seconds since 1970 (RFC 5280 section 4.1.2.5). */
int64_t fs_der_time(fs_judge *judge, fs_cur *at) {
  static const uint8_t DAYS[12] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  /* Month, day, hour, minute, second. */
  static const uint8_t MOST[5] = {12, 31, 23, 59, 59};
  uint32_t is_short = fs_der_next(judge, *at) == 0x17;
  fs_cur content = fs_der(judge, at, is_short ? 0x17 : 0x18);
  uint32_t off = content.off;
  uint32_t year = 0;
  uint32_t part[5];
  uint32_t i;
  if (content.end - off != (is_short ? 13u : 15u)) fs_bad(judge);
  if (!is_short) year = two_digits(judge, &off) * 100;
  year += two_digits(judge, &off);
  if (is_short) year += year < 50 ? 2000 : 1900;
  for (i = 0; i < 5; i++) {
    part[i] = two_digits(judge, &off);
    if (part[i] > MOST[i]) fs_bad(judge);
  }
  if (fs_byte(judge, off) != 'Z' || part[0] == 0 || part[1] == 0) fs_bad(judge);
  if (!FS_GOOD(judge)) return 0;
  if (part[0] - 1 > 11 || part[1] > DAYS[part[0] - 1]) fs_bad(judge);
  if (part[0] == 2 && part[1] == 29 && (year % 4 != 0 || (year % 100 == 0 && year % 400 != 0))) fs_bad(judge);
  return (int64_t)days_of(year, part[0], part[1]) * 86400 + (int32_t)(part[2] * 3600 + part[3] * 60 + part[4]);
}
