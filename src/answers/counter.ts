import type { CounterState, JsonObject } from '../workspace/index.ts';
import { numberJson } from './number.ts';

/** A counter for programs. */
export function counterJson(className: string, state: CounterState): JsonObject {
  return {
    format: 'fieldseal.counter/1',
    class: className,
    last: numberJson(state.last),
    witnessed: numberJson(state.witnessed.number),
    witnessed_by: state.witnessed.by,
    lineage: state.lineage ?? null,
    owner: state.owner ?? null,
    may_seal: state.lineage !== undefined && state.lineage === state.owner,
  };
}
