/* Reset and exceptions of an ARMv7-M core: the C run-time is set up here, nothing else is. ARMv7-M ARM, B1.5. */
#include <stdint.h>

extern uint32_t link_data_load[], link_data_begin[], link_data_end[];
extern uint32_t link_bss_begin[], link_bss_end[], link_stack_top[];
extern int main(void);

void reset_handler(void);
void fault_handler(void) __attribute__((weak, noreturn));

/* A core that faulted stays where it is; the watchdog of the product ends that. A port may do better. */
void fault_handler(void) {
  for (;;) {
  }
}

/* The symbols are bounds of one object for the linker and of none for the compiler: compare addresses. */
void reset_handler(void) {
  const uint32_t *from = link_data_load;
  uint32_t *to;

  for (to = link_data_begin; (uintptr_t)to < (uintptr_t)link_data_end; to++) {
    *to = *from++;
  }
  for (to = link_bss_begin; (uintptr_t)to < (uintptr_t)link_bss_end; to++) {
    *to = 0;
  }
  (void)main();
  fault_handler();
}

/* Initial stack, then the handlers of exceptions 1 to 15. Interrupts are never enabled. */
typedef struct {
  uint32_t *stack;
  void (*handlers[15])(void);
} vector_table_t;

__attribute__((section(".vectors"), used)) static const vector_table_t vectors = {
  link_stack_top,
  {reset_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler,
     fault_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler}};
