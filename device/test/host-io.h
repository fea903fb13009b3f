/* Files of the machine that runs a test: directly on the host, by semihosting on an emulated core. */
#ifndef FIELDSEAL_HOST_IO_H
#define FIELDSEAL_HOST_IO_H

#include <stdint.h>

/* Opens the files that the command line names: what is read, then what is written. 0, or -1. */
int host_open(int argc, char **argv);

/* Reads exactly `size` bytes; 1, or 0 where the file ends before them. */
int host_read(void *bytes, uint32_t size);

/* Writes a text that ends with a zero byte. */
void host_write(const char *text);

/* Closes both and ends with a status. */
void host_end(int status) __attribute__((noreturn));

#endif
