/* A bootloader: runs what the kit found genuine, and nothing else. */
#include <stdint.h>

#include "../ports/cortex-m/uart.h"
#include "unit.h"

static volatile uint32_t *const vector_table_offset = (volatile uint32_t *)0xe000ed08u;

/* Hands the core over to the image at an address, as a reset would: its stack, its reset handler (ARMv7-M ARM, B1.5.5). */
static void hand_over(uint32_t address) {
  const uint32_t *vectors = (const uint32_t *)address;

  *vector_table_offset = address;
  __asm__ volatile("msr msp, %0\n\tbx %1" : : "r"(vectors[0]), "r"(vectors[1]) : "memory");
}

static void stop(const char *why, fs_status status) {
  uart_put(why);
  uart_put_word(status);
  uart_put("\n");
  for (;;) {
  }
}

int main(void) {
  fs_device device;
  fs_started started;
  fs_status status;

  uart_begin();
  status = unit_begin(&device, FS_NO_SLOT);
  if (status != FS_OK) stop("boot: cannot begin ", status);
  status = fs_start(&device, &started);
  if (status != FS_OK) stop("boot: nothing starts ", status);
  /* The second evidence, apart from the returned status: a skipped branch above ends here. */
  if (started.confirmed != FS_CONFIRMED || (started.running != 0 && started.running != 1)) stop("boot: not confirmed ", status);
  uart_put(started.running == 0 ? "boot: slot 0 " : "boot: slot 1 ");
  uart_put(started.on_trial ? "on trial\n" : "kept\n");
  if (started.confirmed == FS_CONFIRMED) hand_over(unit_slot_address((uint32_t)started.running));
  stop("boot: not handed over ", status);
  return 0;
}
