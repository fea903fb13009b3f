/* Vent controller VC-2. */
#include "board.h"
#include "vent_control.h"

void enter_safe_state(void) { BOARD_ALARM = 1; }

int main(void) {
  struct vent_state state;
  vent_start(&state);
  for (;;) {
    wait_for_second();
    int32_t temperature = BOARD_TEMPERATURE;
    struct vent_inputs inputs = {
        .temperature = temperature,
        .sensor_answers = temperature != INT32_MIN,
        .rain = (BOARD_INPUTS & INPUT_RAIN) != 0,
    };
    BOARD_VENT = (uint32_t)vent_step(&state, &inputs);
    BOARD_ALARM = inputs.sensor_answers ? 0u : 1u;
    BOARD_WATCHDOG = 1;
  }
}
