import type { CounterState, JsonObject } from '../workspace/index.ts';

/** A counter for programs. Numbers are text: they may exceed 2^53. */
export function counterJson(className: string, state: CounterState): JsonObject {
  return {
    format: 'fieldseal.counter/1',
    class: className,
    last: String(state.last),
    witnessed: String(state.witnessed.number),
    witnessed_by: state.witnessed.by,
    lineage: state.lineage ?? null,
    owner: state.owner ?? null,
    may_seal: state.lineage !== undefined && state.lineage === state.owner,
  };
}
