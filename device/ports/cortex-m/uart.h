/* A polled UART of the kind that Arm's Cortex-M System Design Kit has (APB UART). Another part has another: same four calls. */
#ifndef FIELDSEAL_UART_H
#define FIELDSEAL_UART_H

#include <stdint.h>

void uart_begin(void);
void uart_put(const char *text);
/* 8 hexadecimal digits. */
void uart_put_word(uint32_t word);
/* Waits for a byte. */
uint8_t uart_get(void);

#endif
