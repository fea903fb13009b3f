#include "dosing_control.h"

enum {
  TARGET = 1800,            /* microsiemens per centimetre */
  START_BELOW = 1700,
  LOWEST_PLAUSIBLE = 100,   /* less is a dry or broken probe */
  HIGHEST_ALLOWED = 3500,   /* more is an overdose or a broken probe */
  DOSE_SECONDS = 5,
  MIXING_SECONDS = 180,
  MOST_SECONDS_PER_HOUR = 60, /* the hard limit: 60 s at 2 ml/s is 120 ml an hour */
  MOST_SECONDS_WITHOUT_FLOW = 3,
  SECONDS_PER_MINUTE = 60
};

static void advance_clock(struct dosing_state *state) {
  state->second++;
  if (state->second < SECONDS_PER_MINUTE) return;
  state->second = 0;
  state->minute = (state->minute + 1u) % DOSING_MINUTES;
  state->pumped[state->minute] = 0;
}

static uint32_t pumped_in_hour(const struct dosing_state *state) {
  uint32_t sum = 0;
  for (uint32_t i = 0; i < DOSING_MINUTES; i++) sum += state->pumped[i];
  return sum;
}

static bool is_faulty(const struct dosing_state *state, const struct dosing_inputs *inputs) {
  return !inputs->sensor_answers || inputs->tank_empty || inputs->conductivity < LOWEST_PLAUSIBLE ||
         inputs->conductivity > HIGHEST_ALLOWED || state->without_flow > MOST_SECONDS_WITHOUT_FLOW;
}

/* The button counts when it goes down, so that one held or stuck does not keep lifting the stop. */
static bool is_pressed(struct dosing_state *state, bool held) {
  bool pressed = held && !state->acknowledge_held;
  state->acknowledge_held = held;
  return pressed;
}

static bool wants_dose(const struct dosing_state *state, uint32_t conductivity) {
  if (state->run > 0) return state->run < DOSE_SECONDS && conductivity < TARGET;
  return state->mixing == 0 && conductivity < START_BELOW;
}

static void stop_pump(struct dosing_state *state) {
  if (state->run > 0) state->mixing = MIXING_SECONDS;
  state->run = 0;
  state->pump = false;
}

void dosing_start(struct dosing_state *state) {
  for (uint32_t i = 0; i < DOSING_MINUTES; i++) state->pumped[i] = 0;
  state->minute = 0;
  state->second = 0;
  state->mixing = MIXING_SECONDS;
  state->run = 0;
  state->without_flow = 0;
  state->pump = false;
  state->acknowledge_held = true;
  state->stopped = true;
}

bool dosing_step(struct dosing_state *state, const struct dosing_inputs *inputs) {
  advance_clock(state);
  if (state->mixing > 0) state->mixing--;
  state->without_flow = state->pump && !inputs->flow ? state->without_flow + 1u : 0u;
  bool pressed = is_pressed(state, inputs->acknowledge);
  if (is_faulty(state, inputs)) state->stopped = true;
  else if (pressed) state->stopped = false;
  bool allowed = !state->stopped && pumped_in_hour(state) < MOST_SECONDS_PER_HOUR;
  if (!allowed || !wants_dose(state, inputs->conductivity)) {
    stop_pump(state);
    return false;
  }
  state->run++;
  state->pumped[state->minute]++;
  state->pump = true;
  return true;
}
