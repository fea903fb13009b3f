/* Runs the two control laws on the machine that builds them: days of arbitrary inputs, and the cases that matter. */
#include <stdio.h>
#include <stdlib.h>

#include "dosing_control.h"
#include "vent_control.h"

#define HOUR 3600u
#define DAY (24u * HOUR)

static int failures;

static void expect(int holds, const char *what) {
  if (holds) return;
  failures++;
  printf("does not hold: %s\n", what);
}

/* A fixed sequence, so that a failure comes back (constants of the C standard's example, 7.20.2.2). */
static uint32_t next_random(void) {
  static uint32_t state = 1;
  state = state * 1103515245u + 12345u;
  return (state >> 16) & 0x7fffu;
}

static const struct dosing_inputs hungry = {.conductivity = 500, .sensor_answers = true, .flow = true};

static bool acknowledge(struct dosing_state *state) {
  struct dosing_inputs pressed = hungry;
  pressed.acknowledge = true;
  (void)dosing_step(state, &hungry);
  return dosing_step(state, &pressed);
}

static void no_hour_has_more_than_the_limit(bool always_hungry) {
  static uint8_t ran[DAY];
  struct dosing_state state;
  dosing_start(&state);
  uint32_t in_hour = 0, most = 0;
  for (uint32_t second = 0; second < DAY; second++) {
    struct dosing_inputs inputs = hungry;
    if (!always_hungry) inputs.conductivity = next_random() % 4000u;
    inputs.acknowledge = second % 2u == 1u;
    ran[second] = dosing_step(&state, &inputs) ? 1 : 0;
    in_hour += ran[second];
    if (second >= HOUR) in_hour -= ran[second - HOUR];
    if (in_hour > most) most = in_hour;
  }
  expect(most <= 60, "no hour has more than 60 s of dosing");
  expect(most > 0, "dosing happens at all");
}

static void a_fault_stops_the_pump_at_once(struct dosing_inputs fault, const char *what) {
  struct dosing_state state;
  dosing_start(&state);
  (void)acknowledge(&state);
  bool ran = false;
  for (uint32_t second = 0; second < 600 && !ran; second++) ran = dosing_step(&state, &hungry);
  expect(ran, "the pump runs when it should");
  expect(!dosing_step(&state, &fault), what);
  bool again = false;
  for (uint32_t second = 0; second < HOUR; second++) again = again || dosing_step(&state, &hungry);
  expect(!again, "the stop stays until a person lifts it");
}

static void dosing(void) {
  struct dosing_state state;
  dosing_start(&state);
  bool ran = false;
  for (uint32_t second = 0; second < HOUR; second++) ran = ran || dosing_step(&state, &hungry);
  expect(!ran, "after a reset nothing is dosed until a person lifts the stop");
  no_hour_has_more_than_the_limit(true);
  no_hour_has_more_than_the_limit(false);
  struct dosing_inputs fault = hungry;
  fault.tank_empty = true;
  a_fault_stops_the_pump_at_once(fault, "an empty tank stops the pump");
  fault = hungry;
  fault.sensor_answers = false;
  a_fault_stops_the_pump_at_once(fault, "a silent sensor stops the pump");
  fault = hungry;
  fault.conductivity = 4000;
  a_fault_stops_the_pump_at_once(fault, "an overdose stops the pump");
  fault = hungry;
  fault.conductivity = 0;
  a_fault_stops_the_pump_at_once(fault, "a dry probe stops the pump");

  struct dosing_inputs blocked = hungry;
  blocked.flow = false;
  dosing_start(&state);
  (void)acknowledge(&state);
  uint32_t seconds = 0;
  for (uint32_t second = 0; second < HOUR; second++) seconds += dosing_step(&state, &blocked) ? 1u : 0u;
  expect(seconds > 0 && seconds <= 5, "a pump without flow is stopped");
}

static int32_t settle(struct vent_state *state, int32_t temperature, bool answers, bool rain, uint32_t seconds) {
  struct vent_inputs inputs = {.temperature = temperature, .sensor_answers = answers, .rain = rain};
  int32_t opening = 0;
  for (uint32_t second = 0; second < seconds; second++) opening = vent_step(state, &inputs);
  return opening;
}

static void vent(void) {
  struct vent_state state;
  vent_start(&state);
  expect(settle(&state, 4000, true, false, 599) <= 100, "after a reset the vent waits as after rain");
  expect(settle(&state, 4000, true, false, HOUR) == 1000, "a hot house opens the vent");
  expect(settle(&state, 4000, true, true, 1) == 100, "rain shuts it at once");
  expect(settle(&state, 4000, true, false, 599) == 100, "and it stays shut for ten minutes");
  expect(settle(&state, 4000, true, false, 1) > 100, "then it opens again");
  expect(settle(&state, 1500, true, false, HOUR) == 0, "a cool house shuts it");
  expect(settle(&state, INT32_MIN, false, false, 1) == 300, "without a sensor it opens a little");
  expect(settle(&state, INT32_MAX, true, false, 1) == 300, "and with an impossible reading too");
#if FIRMWARE_MINOR >= 5
  (void)settle(&state, 4000, true, false, HOUR);
  expect(settle(&state, 400, true, false, 1) <= 50, "frost nearly shuts it");
#endif
  for (uint32_t second = 0; second < 30u * DAY; second++) {
    struct vent_inputs inputs = {
        .temperature = (int32_t)(next_random() % 16000u) - 5000,
        .sensor_answers = next_random() % 50u != 0,
        .rain = next_random() % 100u == 0,
    };
    int32_t opening = vent_step(&state, &inputs);
    if (opening < VENT_CLOSED || opening > VENT_FULLY_OPEN) expect(0, "the opening stays within its range");
    if (inputs.rain && opening > 100) expect(0, "it is never open in the rain");
  }
}

int main(void) {
  dosing();
  vent();
  return failures == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
