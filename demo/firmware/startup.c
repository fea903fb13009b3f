/* Vector table, start-up and the one-second clock of a Cortex-M3 (Armv7-M). */
#include "board.h"

#define CORE_CLOCK_HZ 8000000u
#define SYSTICK_CONTROL (*(volatile uint32_t *)0xe000e010u)
#define SYSTICK_RELOAD (*(volatile uint32_t *)0xe000e014u)
#define SYSTICK_CURRENT (*(volatile uint32_t *)0xe000e018u)
/* Enabled, with interrupt, from the core clock. */
#define SYSTICK_RUN 7u

extern uint32_t stack_top;
extern uint32_t data_load, data_start, data_end, bss_start, bss_end;

static volatile uint32_t seconds;

void reset_handler(void);
void fault_handler(void);
void systick_handler(void);

typedef void (*handler)(void);

struct vector_table {
  uint32_t *stack;
  handler entries[15];
};

__attribute__((section(".vectors"), used)) static const struct vector_table vectors = {
    &stack_top,
    {reset_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler, 0, 0, 0, 0,
     fault_handler, fault_handler, 0, fault_handler, systick_handler},
};

__attribute__((section(".version"), used)) static const char version[] = FIRMWARE_NAME " " FIRMWARE_VERSION;

void reset_handler(void) {
  const uint32_t *from = &data_load;
  for (uint32_t *to = &data_start; to < &data_end; to++) *to = *from++;
  for (uint32_t *to = &bss_start; to < &bss_end; to++) *to = 0;
  SYSTICK_RELOAD = CORE_CLOCK_HZ - 1u;
  SYSTICK_CURRENT = 0;
  SYSTICK_CONTROL = SYSTICK_RUN;
  (void)main();
  fault_handler();
}

/* The watchdog is left alone here, so that the board starts again. */
void fault_handler(void) {
  enter_safe_state();
  for (;;) {
  }
}

void systick_handler(void) { seconds++; }

void wait_for_second(void) {
  static uint32_t last;
  while (seconds == last) {
    __asm__ volatile("wfi");
  }
  last++;
}
