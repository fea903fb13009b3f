#include <stdio.h>
#include <stdlib.h>

#include "host-io.h"

static FILE *input;
static FILE *output;

int host_open(int argc, char **argv) {
  if (argc != 3) return -1;
  input = fopen(argv[1], "rb");
  output = fopen(argv[2], "wb");
  return input != NULL && output != NULL ? 0 : -1;
}

int host_read(void *bytes, uint32_t size) { return fread(bytes, 1, size, input) == size; }

void host_write(const char *text) { (void)fputs(text, output); }

void host_end(int status) {
  if (input != NULL) (void)fclose(input);
  if (output != NULL && fclose(output) != 0) status = 3;
  exit(status);
}
