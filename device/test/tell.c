#include "tell.h"

#include "host-io.h"

#define LINE_SIZE 8192u

static char line[LINE_SIZE];
static uint32_t used;

static void put(char letter) {
  if (used + 2u < LINE_SIZE) line[used++] = letter;
}

static void part(void) {
  if (used != 0u) put(' ');
}

void tell_word(const char *word) {
  part();
  while (*word) put(*word++);
}

void tell_number(uint64_t number) {
  char digits[20];
  uint32_t count = 0;

  part();
  do {
    digits[count++] = (char)('0' + (int)(number % 10u));
    number /= 10u;
  } while (number != 0u);
  while (count > 0u) put(digits[--count]);
}

void tell_hex(const uint8_t *bytes, uint32_t length) {
  static const char letters[] = "0123456789abcdef";

  part();
  if (length == 0u) put('-');
  for (uint32_t i = 0; i < length; i++) {
    put(letters[bytes[i] >> 4]);
    put(letters[bytes[i] & 15u]);
  }
}

void tell_line(void) {
  line[used] = '\n';
  line[used + 1u] = '\0';
  used = 0;
  host_write(line);
}
