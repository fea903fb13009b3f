#include "uart.h"

/* Registers by word: data, state, control, interrupts, baud rate divider. */
static volatile uint32_t *const uart = (volatile uint32_t *)0x40004000u;

enum { DATA = 0, STATE = 1, CONTROL = 2, DIVIDER = 4 };
enum { TRANSMIT_FULL = 1, RECEIVE_FULL = 2, TRANSMIT_AND_RECEIVE = 3, LEAST_DIVIDER = 16 };

void uart_begin(void) {
  uart[DIVIDER] = LEAST_DIVIDER;
  uart[CONTROL] = TRANSMIT_AND_RECEIVE;
}

void uart_put(const char *text) {
  for (; *text; text++) {
    while (uart[STATE] & TRANSMIT_FULL) {
    }
    uart[DATA] = (uint8_t)*text;
  }
}

void uart_put_word(uint32_t word) {
  static const char digits[] = "0123456789abcdef";
  char text[9];

  for (uint32_t i = 0; i < 8u; i++) text[i] = digits[(word >> (28u - 4u * i)) & 15u];
  text[8] = '\0';
  uart_put(text);
}

uint8_t uart_get(void) {
  while (!(uart[STATE] & RECEIVE_FULL)) {
  }
  return (uint8_t)uart[DATA];
}
