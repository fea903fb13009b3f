#include "vent_control.h"

enum {
  SETPOINT = 2400,         /* 24.00 degrees */
  DEAD_BAND = 50,          /* no movement within half a degree */
  FROST_LIMIT = 500,       /* below 5.00 degrees the vent stays nearly shut (since 1.5.0) */
  FROST_OPENING = 50,
  LOWEST_PLAUSIBLE = -4000,
  HIGHEST_PLAUSIBLE = 8500,
  PROPORTIONAL = 2,        /* per mille per 1/100 degree */
  INTEGRAL = 1,            /* 1/1000 per mille per 1/100 degree and second */
  SCALE = 1000,
  HYSTERESIS = 20,         /* a smaller change does not move the motor */
  RAIN_OPENING = 100,
  RAIN_LOCKOUT_SECONDS = 600,
  FAULT_OPENING = 300      /* without a sensor: some air, for heat kills sooner than cold */
};

static int32_t clamp(int32_t value, int32_t low, int32_t high) {
  if (value < low) return low;
  return value > high ? high : value;
}

static int32_t absolute(int32_t value) { return value < 0 ? -value : value; }

static bool is_plausible(const struct vent_inputs *inputs) {
  return inputs->sensor_answers && inputs->temperature >= LOWEST_PLAUSIBLE &&
         inputs->temperature <= HIGHEST_PLAUSIBLE;
}

/* Rain, and the ten minutes after it: sensors dry sooner than seedlings. */
static bool is_wet(struct vent_state *state, bool rain) {
  if (rain) {
    state->dry_seconds = 0;
    return true;
  }
  if (state->dry_seconds < RAIN_LOCKOUT_SECONDS) state->dry_seconds++;
  return state->dry_seconds < RAIN_LOCKOUT_SECONDS;
}

static int32_t regulate(struct vent_state *state, int32_t temperature) {
  int32_t error = temperature - SETPOINT;
  if (absolute(error) <= DEAD_BAND) error = 0;
  state->integral = clamp(state->integral + INTEGRAL * error, VENT_CLOSED, VENT_FULLY_OPEN * SCALE);
  return clamp(PROPORTIONAL * error + state->integral / SCALE, VENT_CLOSED, VENT_FULLY_OPEN);
}

static int32_t largest_opening(bool wet, int32_t temperature) {
#if FIRMWARE_MINOR >= 5
  if (temperature < FROST_LIMIT) return FROST_OPENING;
#else
  (void)temperature;
#endif
  return wet ? RAIN_OPENING : VENT_FULLY_OPEN;
}

void vent_start(struct vent_state *state) {
  state->integral = 0;
  state->dry_seconds = 0;
  state->opening = VENT_CLOSED;
}

int32_t vent_step(struct vent_state *state, const struct vent_inputs *inputs) {
  bool wet = is_wet(state, inputs->rain);
  if (!is_plausible(inputs)) {
    state->integral = 0;
    state->opening = wet ? RAIN_OPENING : FAULT_OPENING;
    return state->opening;
  }
  int32_t wanted = regulate(state, inputs->temperature);
  int32_t largest = largest_opening(wet, inputs->temperature);
  if (wanted > largest) wanted = largest;
  bool must_move = state->opening > largest || wanted == VENT_CLOSED || wanted == VENT_FULLY_OPEN;
  if (must_move || absolute(wanted - state->opening) >= HYSTERESIS) state->opening = wanted;
  return state->opening;
}
