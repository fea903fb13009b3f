/* Runs command sequences that step 4 has read (draft-ietf-suit-manifest sections 6.4 to 6.7; docs/processor-rules.md). */
#include "internal.h"

#define ABORT 14
#define SET_INDEX 12
#define COPY 22
#define SOURCE 22

/* [M] section 6.7: no component is both target and source in a sequence whose order is not strict. */
static uint32_t races(fs_judge *judge, const fs_command *row, fs_frame *in) {
  fs_cur at = {fs_parameter(judge, judge->run->index, SOURCE), judge->size};
  if (judge->run->strict || (row->flags & FS_CMD_WRITES) == 0) return 0;
  in->written = (uint8_t)(in->written | 1u << judge->run->index);
  if (row->code == COPY) in->read = (uint8_t)(in->read | 1u << fs_take(judge, &at, 0));
  return in->read & in->written;
}

/* A condition, or a directive with effects: the parameter that it needs must be set ([M] section 8.4.9). */
static fs_ran act(fs_judge *judge, const fs_command *row, fs_frame *in) {
  fs_ran how = (row->flags & FS_CMD_CONDITION) != 0 ? FS_CONDITION_STOPPED : FS_ABORTED;
  judge->run->failed_command = row->code;
  if (row->needs != 0 && fs_parameter(judge, judge->run->index, row->needs) == 0)
    return fs_stop(judge, how, FS_REASON_PARAMETER);
  if (row->code == ABORT) return fs_stop(judge, how, FS_REASON_ABORT);
  if (races(judge, row, in)) return fs_stop(judge, FS_ABORTED, FS_REASON_ABORT);
  return fs_host(judge, row);
}

static fs_ran run_sequence(fs_judge *judge, fs_cur content, fs_frame *in);

static void new_frame(fs_frame *fresh, uint32_t soft, uint32_t rule) {
  fresh->soft = (uint8_t)soft;
  fresh->rule = (uint8_t)rule;
  fresh->written = 0;
  fresh->read = 0;
}

/* The first branch that succeeds ends it; soft failure begins true in each ([M] section 8.4.10.2). */
static fs_ran try_each(fs_judge *judge, fs_cur at) {
  uint32_t list = judge->run->list;
  uint8_t index = judge->run->index;
  uint32_t count = fs_take(judge, &at, 4);
  fs_ran last = FS_RAN;
  for (; count > 0; count--) {
    fs_frame fresh;
    if (fs_byte(judge, at.off) == 0xf6) return FS_RAN;
    new_frame(&fresh, FS_SOFT, FS_INDEX_ALWAYS);
    judge->run->list = list;
    judge->run->index = index;
    last = run_sequence(judge, fs_string(judge, &at), &fresh);
    if (last != FS_CONDITION_STOPPED) return last;
    if (!fresh.soft) return FS_ABORTED;
  }
  return last;
}

/* Soft failure begins false; a failed condition stays one; strict order holds inside ([M] sections 6.7 and 8.4.10.8). */
static fs_ran run_inner(fs_judge *judge, fs_cur at, uint32_t rule) {
  uint8_t strict = judge->run->strict;
  uint32_t list = judge->run->list;
  uint8_t index = judge->run->index;
  fs_cur content = fs_string(judge, &at);
  fs_cur first = content;
  fs_frame fresh;
  fs_ran ran;
  (void)fs_take(judge, &first, 4);
  if (rule == FS_INDEX_FIRST && fs_integer(judge, &first, judge->malformed) != SET_INDEX)
    return fs_stop(judge, FS_ABORTED, FS_REASON_ABORT);
  new_frame(&fresh, FS_HARD, rule);
  judge->run->strict = 1;
  ran = run_sequence(judge, content, &fresh);
  if (!strict) {
    judge->run->strict = 0;
    judge->run->list = list;
    judge->run->index = index;
  }
  return ran == FS_CONDITION_STOPPED && fresh.soft == FS_SOFT ? FS_RAN : ran;
}

static fs_ran run_once(fs_judge *judge, const fs_command *row, fs_cur at, fs_frame *in, uint32_t rule) {
  if (fs_step(judge) != FS_RAN) return FS_ABORTED;
  switch (row->flags & FS_CMD_ARGUMENT) {
    case FS_ARG_BRANCHES:
      return try_each(judge, at);
    case FS_ARG_SEQUENCE:
      return run_inner(judge, at, rule);
    default:
      return act(judge, row, in);
  }
}

/* [M] section 6.5: once for each component of the selection at `list`, each time with one index; where it is 0, once. */
static uint32_t select_next(fs_judge *judge, uint32_t list, uint32_t nth) {
  if (list == 0) return nth == 0;
  judge->run->list = 0;
  return fs_selected(judge, list, nth, &judge->run->index);
}

static fs_ran run_command(fs_judge *judge, const fs_command *row, fs_cur at, fs_frame *in, uint32_t first) {
  uint32_t list = judge->run->list;
  uint32_t rule = judge->run->strict ? FS_INDEX_ALWAYS : list == 0 ? FS_INDEX_FIRST : FS_INDEX_NEVER;
  fs_ran ran = FS_RAN;
  uint32_t nth;
  uint32_t argument = row->flags & FS_CMD_ARGUMENT;
  if (argument == FS_ARG_INDEX) return fs_set_index(judge, at, in, first);
  if (argument == FS_ARG_PARAMETERS) return fs_set_parameters(judge, row->code, at, in);
  for (nth = 0; ran == FS_RAN && select_next(judge, list, nth); nth++) ran = run_once(judge, row, at, in, rule);
  if (list != 0) judge->run->list = list;
  return ran;
}

static fs_ran run_sequence(fs_judge *judge, fs_cur content, fs_frame *in) {
  uint32_t count = fs_take(judge, &content, 4);
  uint32_t first = 1;
  fs_ran ran = FS_RAN;
  for (; count > 0 && ran == FS_RAN; count -= 2) {
    const fs_command *row = fs_find_command(fs_integer(judge, &content, judge->malformed));
    if (row == 0 || !FS_GOOD(judge)) return fs_stop(judge, FS_ABORTED, FS_REASON_ABORT);
    ran = run_command(judge, row, content, in, first);
    fs_skip(judge, &content);
    first = 0;
  }
  return ran;
}

static fs_ran run_top(fs_judge *judge, fs_cur content, uint32_t element) {
  fs_frame fresh;
  new_frame(&fresh, FS_NO_SOFTNESS, FS_INDEX_ALWAYS);
  judge->run->element_run = (uint8_t)element;
  judge->run->list = 0;
  judge->run->index = 0;
  return FS_ABSENT(content) ? FS_RAN : run_sequence(judge, content, &fresh);
}

fs_ran fs_run(fs_judge *judge, uint32_t element) {
  fs_ran ran = run_top(judge, judge->shared, FS_EL_COMMON);
  fs_cur content;
  if (ran != FS_RAN || element == FS_EL_COMMON) return ran;
  content = fs_sequence_of(judge, element);
  if (FS_ABSENT(content) && !FS_ABSENT(fs_element(judge, (int32_t)element))) return fs_stop(judge, FS_ABORTED, FS_REASON_ABSENT);
  return run_top(judge, content, element);
}
