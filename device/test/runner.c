/*
 * Runs the cases of a file, one line of result each: calls of the crypto port, and what the kit says to payloads. One program
 * for the host and for emulated cores; thousands of cases in one boot. scripts/device/case-file.ts writes the files.
 */
#include "cases.h"
#include "host-io.h"
#include "tell.h"

#define RECORD_SIZE 1048576u

static uint8_t bytes[RECORD_SIZE];

static int run(uint32_t length) {
  record from;
  uint8_t kind;

  from.at = bytes;
  from.end = bytes + length;
  from.short_of = 0;
  kind = take_u8(&from);
  if (!run_case(kind, &from)) return 0;
  return !from.short_of;
}

int main(int argc, char **argv) {
  uint8_t head[4];

  if (host_open(argc, argv) != 0) host_end(2);
  while (host_read(head, sizeof head)) {
    record from;
    uint32_t length;
    from.at = head;
    from.end = head + sizeof head;
    from.short_of = 0;
    length = take_u32(&from);
    if (length > RECORD_SIZE || !host_read(bytes, length) || !run(length)) {
      tell_word("case-not-read");
      tell_line();
      host_end(2);
    }
  }
  host_end(0);
}
