/* Which components commands apply to, and what their parameters are (draft-ietf-suit-manifest sections 6.5 and 8.4.10.3). */
#include "internal.h"

#define MOST_STEPS 20000u
#define SET_PARAMETERS 19
#define STRICT_ORDER 12
#define SOFT_FAILURE 13

static const uint8_t KEPT[FS_PARAMETERS] = {1, 2, 3, 4, 5, 14, 18, 19, 21, 22, 24, 26, 27};

uint32_t fs_parameter(const fs_judge *judge, uint32_t component, uint32_t code) {
  uint32_t i;
  for (i = 0; i < FS_PARAMETERS; i++)
    if (KEPT[i] == code) return judge->run->parameter[component][i];
  return 0;
}

fs_ran fs_stop(fs_judge *judge, fs_ran how, fs_status reason) {
  judge->run->reason = reason;
  return how;
}

fs_ran fs_step(fs_judge *judge) {
  if (judge->run->steps_left == 0) return fs_stop(judge, FS_ABORTED, FS_REASON_ABORT);
  judge->run->steps_left--;
  return FS_RAN;
}

/* Component `nth` of the selection that stands at `list`; 0 where there are no more. */
uint32_t fs_selected(fs_judge *judge, uint32_t list, uint32_t nth, uint8_t *index) {
  fs_cur at = {list, judge->size};
  uint32_t i;
  if (fs_byte(judge, list) == 0xf5) {
    *index = (uint8_t)nth;
    return nth < judge->component_count;
  }
  if (nth >= fs_take(judge, &at, 4)) return 0;
  for (i = 0; i < nth; i++) fs_skip(judge, &at);
  *index = (uint8_t)fs_take(judge, &at, 0);
  return 1;
}

fs_ran fs_set_index(fs_judge *judge, fs_cur at, const fs_frame *in, uint32_t first) {
  if (in->rule == FS_INDEX_NEVER || (in->rule == FS_INDEX_FIRST && !first)) return fs_stop(judge, FS_ABORTED, FS_REASON_ABORT);
  judge->run->list = 0;
  if (fs_byte(judge, at.off) == 0xf5 || fs_byte(judge, at.off) >> 5 == 4)
    judge->run->list = at.off;
  else
    judge->run->index = (uint8_t)fs_take(judge, &at, 0);
  return fs_step(judge);
}

/* Override replaces; set-parameters leaves alone what is set. */
static void store(fs_judge *judge, uint32_t component, fs_cur at, uint32_t replaces) {
  uint32_t i;
  for (i = 0; i < FS_PARAMETERS; i++) {
    uint32_t *kept = &judge->run->parameter[component][i];
    fs_cur value = fs_look_up(judge, at, KEPT[i]);
    if (!FS_ABSENT(value) && (replaces || *kept == 0)) *kept = value.off;
  }
}

/* The value of a flag among parameters: FS_HARD for false, FS_SOFT for true, FS_NO_SOFTNESS where it is not there. */
static uint32_t flag_in(fs_judge *judge, fs_cur at, int32_t wanted) {
  fs_cur value = fs_look_up(judge, at, wanted);
  return FS_ABSENT(value) ? FS_NO_SOFTNESS : fs_byte(judge, value.off) & 1u;
}

fs_ran fs_set_parameters(fs_judge *judge, uint32_t code, fs_cur at, fs_frame *in) {
  uint32_t replaces = code != SET_PARAMETERS;
  uint32_t soft = replaces ? flag_in(judge, at, SOFT_FAILURE) : FS_NO_SOFTNESS;
  uint32_t strict = replaces ? flag_in(judge, at, STRICT_ORDER) : FS_NO_SOFTNESS;
  uint32_t nth;
  if (soft != FS_NO_SOFTNESS && in->soft == FS_NO_SOFTNESS) return fs_stop(judge, FS_ABORTED, FS_REASON_ABORT);
  if (soft != FS_NO_SOFTNESS) in->soft = (uint8_t)soft;
  if (strict != FS_NO_SOFTNESS) judge->run->strict = (uint8_t)strict;
  for (nth = 0;; nth++) {
    uint8_t index = judge->run->index;
    if (judge->run->list == 0 ? nth > 0 : !fs_selected(judge, judge->run->list, nth, &index)) return FS_RAN;
    if (fs_step(judge) != FS_RAN) return FS_ABORTED;
    store(judge, index, at, replaces);
  }
}

void fs_begin_run(fs_judge *judge, fs_purpose purpose) {
  memset(judge->run->parameter, 0, sizeof judge->run->parameter);
  judge->run->steps_left = MOST_STEPS;
  judge->run->strict = 1;
  judge->run->reason = 0;
  judge->run->purpose = (uint8_t)purpose;
}
