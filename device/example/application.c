/*
 * An application that takes updates over a UART: it is handed an envelope, has the kit install it, restarts into it on trial,
 * and has it kept when told that its self-test passed. Orders, one byte each:
 *   e    an envelope follows: its length (4 bytes, big-endian), then its bytes; "install STATUS" is the answer
 *   k    the self-test passed; "keep STATUS" is the answer
 *   r    restart
 */
#include <stdint.h>

#include "../ports/cortex-m/uart.h"
#include "unit.h"

#define ENVELOPE_SIZE 262144u

static volatile uint32_t *const vector_table_offset = (volatile uint32_t *)0xe000ed08u;
static volatile uint32_t *const reset_control = (volatile uint32_t *)0xe000ed0cu;
#define RESET_REQUEST 0x05fa0004u

static uint8_t envelope[ENVELOPE_SIZE];

static void tell(const char *what, fs_status status) {
  uart_put(what);
  uart_put_word(status);
  uart_put("\n");
}

/* Bytes of the envelope that came; 0 where it is longer than there is room: it is read past all the same. */
static uint32_t receive(void) {
  uint32_t length = 0;

  for (uint32_t i = 0; i < 4u; i++) length = length << 8 | uart_get();
  for (uint32_t i = 0; i < length; i++) {
    const uint8_t byte = uart_get();
    if (i < ENVELOPE_SIZE) envelope[i] = byte;
  }
  return length <= ENVELOPE_SIZE ? length : 0u;
}

static fs_status install(fs_device *device) {
  fs_offer offer = {{envelope, 0}, 0, 0, 0, 0, 0};
  fs_plan plan;

  offer.envelope.length = receive();
  return fs_install(device, &offer, &plan);
}

static void restart(void) {
  *reset_control = RESET_REQUEST;
  for (;;) {
  }
}

int main(void) {
  const int8_t running = *vector_table_offset == unit_slot_address(0) ? 0 : 1;
  fs_device device;

  uart_begin();
  if (unit_begin(&device, running) != FS_OK) restart();
  uart_put("app: " VERSION "\n");
  for (;;) {
    switch (uart_get()) {
      case 'e': tell("install ", install(&device)); break;
      case 'k': tell("keep ", fs_keep(&device)); break;
      case 'r': restart(); break;
      default: break;
    }
  }
}
