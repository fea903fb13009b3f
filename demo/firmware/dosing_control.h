/* When the nutrient pump runs, and what stops it. Plain arithmetic on integers, one step a second. */
#ifndef DOSING_CONTROL_H
#define DOSING_CONTROL_H

#include <stdbool.h>
#include <stdint.h>

/* The current minute and the 60 before it: more than any hour. */
#define DOSING_MINUTES 61u

struct dosing_inputs {
  uint32_t conductivity; /* microsiemens per centimetre */
  bool sensor_answers;
  bool tank_empty;
  bool flow;        /* seen in the last second */
  bool acknowledge; /* the button */
};

struct dosing_state {
  uint16_t pumped[DOSING_MINUTES]; /* seconds the pump ran in each minute */
  uint32_t minute;                 /* index of the current minute */
  uint32_t second;                 /* within the current minute */
  uint32_t mixing;                 /* seconds to wait until the sensor can see the last dose */
  uint32_t run;                    /* seconds of the current dose so far */
  uint32_t without_flow;           /* seconds the pump ran without flow */
  bool pump;
  bool acknowledge_held;
  bool stopped; /* latched: only the button lifts it */
};

/* Starts stopped: after a reset the doses of the last hour are not known, so a person must look. */
void dosing_start(struct dosing_state *state);

/* Whether the pump runs in the next second. */
bool dosing_step(struct dosing_state *state, const struct dosing_inputs *inputs);

#endif
