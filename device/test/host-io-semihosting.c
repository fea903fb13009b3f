#include <string.h>

#include "../ports/cortex-m/semihosting.h"
#include "host-io.h"

void fault_handler(void);

static int32_t input = -1;
static int32_t output = -1;

/* A core that faulted is no result: the emulator ends with a status that no verdict has. */
void fault_handler(void) { semihosting_exit(99); }

/* The emulator's command line: its own name for the program, then the two files. */
int host_open(int argc, char **argv) {
  static char line[1024];
  char *in, *out;

  (void)argc;
  (void)argv;
  if (semihosting_command_line(line, sizeof line) != 0) return -1;
  in = strchr(line, ' ');
  if (in == NULL) return -1;
  out = strchr(++in, ' ');
  if (out == NULL) return -1;
  *out++ = '\0';
  input = semihosting_open(in, SEMIHOSTING_READ_BINARY);
  output = semihosting_open(out, SEMIHOSTING_WRITE_BINARY);
  return input >= 0 && output >= 0 ? 0 : -1;
}

int host_read(void *bytes, uint32_t size) { return semihosting_read(input, bytes, size) == size; }

void host_write(const char *text) { (void)semihosting_write(output, text, strlen(text)); }

void host_end(int status) {
  semihosting_close(input);
  semihosting_close(output);
  semihosting_exit((uint32_t)status);
}
