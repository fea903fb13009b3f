/* Nutrient dosing controller DC-1. */
#include "board.h"
#include "dosing_control.h"

void enter_safe_state(void) {
  BOARD_PUMP = 0;
  BOARD_ALARM = 1;
}

int main(void) {
  static struct dosing_state state;
  BOARD_PUMP = 0;
  dosing_start(&state);
  for (;;) {
    wait_for_second();
    uint32_t conductivity = BOARD_CONDUCTIVITY;
    uint32_t bits = BOARD_INPUTS;
    struct dosing_inputs inputs = {
        .conductivity = conductivity,
        .sensor_answers = conductivity != UINT32_MAX,
        .tank_empty = (bits & INPUT_TANK_EMPTY) != 0,
        .flow = (bits & INPUT_FLOW) != 0,
        .acknowledge = (bits & INPUT_ACKNOWLEDGE) != 0,
    };
    BOARD_PUMP = dosing_step(&state, &inputs) ? 1u : 0u;
    BOARD_ALARM = state.stopped ? 1u : 0u;
    BOARD_WATCHDOG = 1;
  }
}
