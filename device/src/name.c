/*
 * Whether two Names are the same (RFC 5280 section 7.1): equal bytes, or equal texts of printable ASCII whatever their case.
 * One of them may be the root's, which stands in the class; both have been read as DER before.
 */
#include "internal.h"

/* What is left of an encoding. */
typedef fs_bytes rest;

static void advance(rest *at, uint32_t count) {
  if (count > at->length) count = at->length;
  at->bytes += count;
  at->length -= count;
}

/* Tag of the next element, 0 where there is none; `at` is left at its content. */
static uint32_t next(rest *at, rest *content) {
  uint32_t tag;
  uint32_t length;
  *content = *at;
  content->length = 0;
  if (at->length < 2) {
    at->length = 0;
    return 0;
  }
  tag = at->bytes[0];
  length = at->bytes[1];
  advance(at, 2);
  if (length >= 0x80) {
    uint32_t width = length & 0x7fu;
    if (width > 4 || width > at->length) width = 0;
    length = fs_get32(at->bytes, width);
    advance(at, width);
  }
  content->bytes = at->bytes;
  content->length = length > at->length ? at->length : length;
  return tag;
}

static uint32_t are_same(rest a, rest b) {
  return a.length == b.length && (a.length == 0 || memcmp(a.bytes, b.bytes, a.length) == 0);
}

static uint32_t is_text(uint32_t tag) {
  return tag == 0x0c || tag == 0x13 || tag == 0x12 || tag == 0x14 || tag == 0x16 || tag == 0x1a;
}

static void trim(rest *text) {
  while (text->length > 0 && text->bytes[0] == ' ') advance(text, 1);
  while (text->length > 0 && text->bytes[text->length - 1] == ' ') text->length--;
}

/* The next character of a trimmed text, in lower case, one space for several; 0 at its end, 0x100 where it is not plain. */
static uint32_t next_folded(rest *text) {
  uint32_t c;
  if (text->length == 0) return 0;
  c = text->bytes[0];
  advance(text, 1);
  if (c < ' ' || c > '~') return 0x100;
  while (c == ' ' && text->bytes[0] == ' ') advance(text, 1);
  return c >= 'A' && c <= 'Z' ? c + 32 : c;
}

static uint32_t same_text(rest a, rest b) {
  trim(&a);
  trim(&b);
  for (;;) {
    uint32_t one = next_folded(&a);
    if (one != next_folded(&b) || one == 0x100) return 0;
    if (one == 0) return 1;
  }
}

/*
 * One element after the other, as they stand: what holds elements is opened. Where a name and its parts begin their tags tell, so
 * that their lengths need not.
 */
uint32_t fs_same_name(fs_bytes a, fs_bytes b) {
  while (a.length > 0 && b.length > 0) {
    rest one;
    rest two;
    uint32_t tag = next(&a, &one);
    uint32_t other = next(&b, &two);
    if ((tag & 0x20) != 0) {
      if (tag != other) return 0;
      continue;
    }
    advance(&a, one.length);
    advance(&b, two.length);
    if (tag == other && are_same(one, two)) continue;
    if (!is_text(tag) || !is_text(other) || !same_text(one, two)) return 0;
  }
  return a.length == b.length;
}
