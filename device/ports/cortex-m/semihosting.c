#include "semihosting.h"

#include <string.h>

enum {
  SYS_OPEN = 0x01,
  SYS_CLOSE = 0x02,
  SYS_WRITE = 0x05,
  SYS_READ = 0x06,
  SYS_GET_CMDLINE = 0x15,
  SYS_EXIT_EXTENDED = 0x20,
  ADP_STOPPED_APPLICATION_EXIT = 0x20026
};

static uint32_t call(uint32_t operation, const void *block) {
  register uint32_t r0 __asm__("r0") = operation;
  register const void *r1 __asm__("r1") = block;

  __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
  return r0;
}

int32_t semihosting_open(const char *name, semihosting_mode_t mode) {
  const uint32_t block[3] = {(uint32_t)name, (uint32_t)mode, (uint32_t)strlen(name)};

  return (int32_t)call(SYS_OPEN, block);
}

size_t semihosting_read(int32_t handle, void *bytes, size_t size) {
  const uint32_t block[3] = {(uint32_t)handle, (uint32_t)bytes, (uint32_t)size};

  return size - call(SYS_READ, block);
}

size_t semihosting_write(int32_t handle, const void *bytes, size_t size) {
  const uint32_t block[3] = {(uint32_t)handle, (uint32_t)bytes, (uint32_t)size};

  return call(SYS_WRITE, block);
}

void semihosting_close(int32_t handle) {
  const uint32_t block[1] = {(uint32_t)handle};

  (void)call(SYS_CLOSE, block);
}

int semihosting_command_line(char *text, size_t size) {
  uint32_t block[2];

  block[0] = (uint32_t)text;
  block[1] = (uint32_t)size;
  return call(SYS_GET_CMDLINE, block) == 0 ? 0 : -1;
}

void semihosting_exit(uint32_t status) {
  const uint32_t block[2] = {ADP_STOPPED_APPLICATION_EXIT, status};

  (void)call(SYS_EXIT_EXTENDED, block);
  for (;;) {
  }
}
