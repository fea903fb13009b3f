/* Runs command sequences that step 4 has read (draft-ietf-suit-manifest sections 6.4 to 6.7; docs/processor-rules.md). */
#include "internal.h"

#define MOST_STEPS 20000u
#define ABORT 14
#define SET_INDEX 12
#define SET_PARAMETERS 19
#define COPY 22
#define STRICT_ORDER 12
#define SOFT_FAILURE 13
#define SOURCE 22

enum { HARD = 0, SOFT = 1, NO_SOFTNESS = 2 };
enum { INDEX_ALWAYS = 0, INDEX_FIRST, INDEX_NEVER };

/* State of one running sequence: softness ([M] 8.4.8.15), where an index may be set, components written and read loosely. */
typedef struct {
  uint8_t soft;
  uint8_t rule;
  uint8_t written;
  uint8_t read;
} frame;

static const uint8_t KEPT[FS_PARAMETERS] = {1, 2, 3, 4, 5, 14, 18, 21, 22, 24, 26, 27};

uint32_t fs_parameter(const fs_judge *judge, uint32_t component, uint32_t code) {
  uint32_t i;
  for (i = 0; i < FS_PARAMETERS; i++)
    if (KEPT[i] == code) return judge->parameter[component][i];
  return 0;
}

static fs_ran stop(fs_judge *judge, fs_ran how, fs_status reason) {
  judge->reason = reason;
  return how;
}

static fs_ran step(fs_judge *judge) {
  if (judge->steps_left == 0) return stop(judge, FS_ABORTED, FS_REASON_ABORT);
  judge->steps_left--;
  return FS_RAN;
}

/* Component `nth` of the selection that stands at `list`; 0 where there are no more. */
static uint32_t selected(fs_judge *judge, uint32_t list, uint32_t nth, uint8_t *index) {
  fs_cur at = {list, judge->size};
  uint32_t i;
  if (judge->b[list] == 0xf5) {
    *index = (uint8_t)nth;
    return nth < judge->component_count;
  }
  if (nth >= fs_take(judge, &at, 4)) return 0;
  for (i = 0; i < nth; i++) fs_skip(judge, &at);
  *index = (uint8_t)fs_take(judge, &at, 0);
  return 1;
}

static fs_ran set_index(fs_judge *judge, fs_cur at, const frame *in, uint32_t first) {
  if (in->rule == INDEX_NEVER || (in->rule == INDEX_FIRST && !first)) return stop(judge, FS_ABORTED, FS_REASON_ABORT);
  judge->list = 0;
  if (judge->b[at.off] == 0xf5 || judge->b[at.off] >> 5 == 4)
    judge->list = at.off;
  else
    judge->index = (uint8_t)fs_take(judge, &at, 0);
  return step(judge);
}

/* Override replaces; set-parameters leaves alone what is set. */
static void store(fs_judge *judge, uint32_t component, fs_cur at, uint32_t replaces) {
  uint32_t count = fs_take(judge, &at, 5);
  for (; count > 0; count--) {
    int32_t code = fs_integer(judge, &at, judge->malformed);
    uint32_t i;
    for (i = 0; i < FS_PARAMETERS; i++)
      if (KEPT[i] == code && (replaces || judge->parameter[component][i] == 0)) judge->parameter[component][i] = at.off;
    fs_skip(judge, &at);
  }
}

/* The value of a flag among parameters: HARD for false, SOFT for true, NO_SOFTNESS where it is not there. */
static uint32_t flag_in(fs_judge *judge, fs_cur at, int32_t wanted) {
  uint32_t count = fs_take(judge, &at, 5);
  for (; count > 0; count--) {
    if (fs_integer(judge, &at, judge->malformed) == wanted) return judge->b[at.off] & 1u;
    fs_skip(judge, &at);
  }
  return NO_SOFTNESS;
}

static fs_ran set_parameters(fs_judge *judge, uint32_t code, fs_cur at, frame *in) {
  uint32_t replaces = code != SET_PARAMETERS;
  uint32_t soft = replaces ? flag_in(judge, at, SOFT_FAILURE) : NO_SOFTNESS;
  uint32_t strict = replaces ? flag_in(judge, at, STRICT_ORDER) : NO_SOFTNESS;
  uint32_t nth;
  if (soft != NO_SOFTNESS && in->soft == NO_SOFTNESS) return stop(judge, FS_ABORTED, FS_REASON_ABORT);
  if (soft != NO_SOFTNESS) in->soft = (uint8_t)soft;
  if (strict != NO_SOFTNESS) judge->strict = (uint8_t)strict;
  for (nth = 0;; nth++) {
    uint8_t index = judge->index;
    if (judge->list == 0 ? nth > 0 : !selected(judge, judge->list, nth, &index)) return FS_RAN;
    if (step(judge) != FS_RAN) return FS_ABORTED;
    store(judge, index, at, replaces);
  }
}

/* [M] section 6.7: no component is both target and source in a sequence whose order is not strict. */
static uint32_t races(fs_judge *judge, const fs_command *row, frame *in) {
  fs_cur at = {fs_parameter(judge, judge->index, SOURCE), judge->size};
  if (judge->strict || (row->flags & FS_CMD_WRITES) == 0) return 0;
  in->written = (uint8_t)(in->written | 1u << judge->index);
  if (row->code == COPY) in->read = (uint8_t)(in->read | 1u << fs_take(judge, &at, 0));
  return in->read & in->written;
}

/* A condition, or a directive with effects: the parameter that it needs must be set ([M] section 8.4.9). */
static fs_ran act(fs_judge *judge, const fs_command *row, frame *in) {
  fs_ran how = (row->flags & FS_CMD_CONDITION) != 0 ? FS_CONDITION_STOPPED : FS_ABORTED;
  judge->failed_command = row->code;
  if (row->needs != 0 && fs_parameter(judge, judge->index, row->needs) == 0)
    return stop(judge, how, FS_REASON_PARAMETER);
  if (row->code == ABORT) return stop(judge, how, FS_REASON_ABORT);
  if (races(judge, row, in)) return stop(judge, FS_ABORTED, FS_REASON_ABORT);
  return fs_host(judge, row);
}

static fs_ran run_sequence(fs_judge *judge, fs_cur content, frame *in);

static void new_frame(frame *fresh, uint32_t soft, uint32_t rule) {
  fresh->soft = (uint8_t)soft;
  fresh->rule = (uint8_t)rule;
  fresh->written = 0;
  fresh->read = 0;
}

/* The first branch that succeeds ends it; soft failure begins true in each ([M] section 8.4.10.2). */
static fs_ran try_each(fs_judge *judge, fs_cur at) {
  uint32_t list = judge->list;
  uint8_t index = judge->index;
  uint32_t count = fs_take(judge, &at, 4);
  fs_ran last = FS_RAN;
  for (; count > 0; count--) {
    frame fresh;
    if (judge->b[at.off] == 0xf6) return FS_RAN;
    new_frame(&fresh, SOFT, INDEX_ALWAYS);
    judge->list = list;
    judge->index = index;
    last = run_sequence(judge, fs_string(judge, &at), &fresh);
    if (last != FS_CONDITION_STOPPED) return last;
    if (!fresh.soft) return FS_ABORTED;
  }
  return last;
}

/* Soft failure begins false; a failed condition stays one; strict order holds inside ([M] sections 6.7 and 8.4.10.8). */
static fs_ran run_inner(fs_judge *judge, fs_cur at, uint32_t rule) {
  uint8_t strict = judge->strict;
  uint32_t list = judge->list;
  uint8_t index = judge->index;
  fs_cur content = fs_string(judge, &at);
  fs_cur first = content;
  frame fresh;
  fs_ran ran;
  (void)fs_take(judge, &first, 4);
  if (rule == INDEX_FIRST && fs_integer(judge, &first, judge->malformed) != SET_INDEX)
    return stop(judge, FS_ABORTED, FS_REASON_ABORT);
  new_frame(&fresh, HARD, rule);
  judge->strict = 1;
  ran = run_sequence(judge, content, &fresh);
  if (!strict) {
    judge->strict = 0;
    judge->list = list;
    judge->index = index;
  }
  return ran == FS_CONDITION_STOPPED && fresh.soft == SOFT ? FS_RAN : ran;
}

static fs_ran run_once(fs_judge *judge, const fs_command *row, fs_cur at, frame *in, uint32_t rule) {
  if (step(judge) != FS_RAN) return FS_ABORTED;
  switch (row->flags & FS_CMD_ARGUMENT) {
    case FS_ARG_BRANCHES:
      return try_each(judge, at);
    case FS_ARG_SEQUENCE:
      return run_inner(judge, at, rule);
    default:
      return act(judge, row, in);
  }
}

/* [M] section 6.5: once for each selected component, and each time with one index. */
static fs_ran run_command(fs_judge *judge, const fs_command *row, fs_cur at, frame *in, uint32_t first) {
  uint32_t list = judge->list;
  uint32_t rule = judge->strict ? INDEX_ALWAYS : list == 0 ? INDEX_FIRST : INDEX_NEVER;
  fs_ran ran = FS_RAN;
  uint32_t nth;
  uint32_t argument = row->flags & FS_CMD_ARGUMENT;
  if (argument == FS_ARG_INDEX) return set_index(judge, at, in, first);
  if (argument == FS_ARG_PARAMETERS) return set_parameters(judge, row->code, at, in);
  if (list == 0) return run_once(judge, row, at, in, rule);
  for (nth = 0; ran == FS_RAN && selected(judge, list, nth, &judge->index); nth++) {
    judge->list = 0;
    ran = run_once(judge, row, at, in, rule);
  }
  judge->list = list;
  return ran;
}

static fs_ran run_sequence(fs_judge *judge, fs_cur content, frame *in) {
  uint32_t count = fs_take(judge, &content, 4);
  uint32_t first = 1;
  fs_ran ran = FS_RAN;
  for (; count > 0 && ran == FS_RAN; count -= 2) {
    const fs_command *row = fs_find_command(fs_integer(judge, &content, judge->malformed));
    if (row == 0 || !FS_GOOD(judge)) return stop(judge, FS_ABORTED, FS_REASON_ABORT);
    ran = run_command(judge, row, content, in, first);
    fs_skip(judge, &content);
    first = 0;
  }
  return ran;
}

static fs_ran run_top(fs_judge *judge, fs_cur content, uint32_t element) {
  frame fresh;
  new_frame(&fresh, NO_SOFTNESS, INDEX_ALWAYS);
  judge->element_run = (uint8_t)element;
  judge->list = 0;
  judge->index = 0;
  return FS_ABSENT(content) ? FS_RAN : run_sequence(judge, content, &fresh);
}

void fs_begin_run(fs_judge *judge, fs_purpose purpose) {
  memset(judge->parameter, 0, sizeof judge->parameter);
  judge->steps_left = MOST_STEPS;
  judge->strict = 1;
  judge->reason = 0;
  judge->purpose = (uint8_t)purpose;
}

fs_ran fs_run(fs_judge *judge, uint32_t element) {
  fs_ran ran = run_top(judge, judge->shared, FS_EL_COMMON);
  fs_cur content;
  if (ran != FS_RAN || element == FS_EL_COMMON) return ran;
  content = fs_sequence_of(judge, element);
  if (FS_ABSENT(content) && judge->element[element] != 0) return stop(judge, FS_ABORTED, FS_REASON_ABSENT);
  return run_top(judge, content, element);
}
