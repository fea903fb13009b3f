/* Lines of a result: words parted by blanks, put together in one buffer. */
#ifndef FIELDSEAL_TEST_TELL_H
#define FIELDSEAL_TEST_TELL_H

#include <stdint.h>

void tell_word(const char *word);
void tell_number(uint64_t number);
void tell_hex(const uint8_t *bytes, uint32_t length);
/* Ends the line and writes it. */
void tell_line(void);

#endif
