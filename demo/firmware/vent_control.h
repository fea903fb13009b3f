/* When and how far the roof vent opens. Plain arithmetic on integers, one step a second. */
#ifndef VENT_CONTROL_H
#define VENT_CONTROL_H

#include <stdbool.h>
#include <stdint.h>

#define VENT_CLOSED 0
#define VENT_FULLY_OPEN 1000

struct vent_inputs {
  int32_t temperature; /* 1/100 degree Celsius */
  bool sensor_answers;
  bool rain;
};

struct vent_state {
  int32_t integral;  /* per mille times 1000, always within the opening's range */
  uint32_t dry_seconds; /* since the last rain, up to the lockout */
  int32_t opening;   /* per mille */
};

void vent_start(struct vent_state *state);

/* The opening for the next second, 0 to 1000 per mille. */
int32_t vent_step(struct vent_state *state, const struct vent_inputs *inputs);

#endif
