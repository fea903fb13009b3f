/* Arm semihosting: files and exit status of the machine that runs the emulator. FOR TESTS ONLY: it gives the guest the host's
 * files, and a part without a debugger stops at the first call. Arm Semihosting for AArch32 and AArch64, section 5. */
#ifndef SEMIHOSTING_H
#define SEMIHOSTING_H

#include <stddef.h>
#include <stdint.h>

typedef enum { SEMIHOSTING_READ_BINARY = 1, SEMIHOSTING_WRITE_BINARY = 5 } semihosting_mode_t;

/* Opens a file of the host; a handle, or -1. `name` ends with a zero byte. */
int32_t semihosting_open(const char *name, semihosting_mode_t mode);

/* Reads up to `size` bytes; how many came, 0 at the end. */
size_t semihosting_read(int32_t handle, void *bytes, size_t size);

/* Writes all bytes; 0, or how many were not written. */
size_t semihosting_write(int32_t handle, const void *bytes, size_t size);

void semihosting_close(int32_t handle);

/* The command line of the emulator, words parted by blanks, with a zero byte; 0, or -1 where it does not fit. */
int semihosting_command_line(char *text, size_t size);

/* Ends the emulator with an exit status. */
void semihosting_exit(uint32_t status) __attribute__((noreturn));

#endif
