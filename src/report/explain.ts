import { COMMANDS, type Command, type Manifest } from '../suit/index.ts';
import { commandsIn, sequenceOf } from './places.ts';
import type { SuitRecord } from './report.ts';
import { SECTIONS } from './tables.ts';

/** Bits of a reporting policy that ask for a record ([M] section 8.4.7). */
const RECORD_BITS = 0b11;

/** What a record points at: the command, or why there is none. */
export type Explained =
  | { readonly ok: true; readonly section: string; readonly command: string | null }
  | { readonly ok: false; readonly problem: string };

/**
 * Finds the command that a record points at ([RPT] section 5: a record for a sequence that does not exist, or at an offset
 * without a condition or a policy that asks for one, shows a processor that is not to be trusted). The record of a result may
 * stand at any command: whatever fails ends the procedure (section 3).
 */
export function explainRecord(
  { manifestId, section, offset, component }: SuitRecord,
  manifest: Manifest,
  place: 'list' | 'result',
): Explained {
  const row = SECTIONS.get(section);
  if (!row) return { ok: false, problem: `no section has key ${section}` };
  if (manifestId.length > 0) return { ok: true, section: row.name, command: null };
  if (row.code === 0) return { ok: true, section: row.name, command: null };
  const sequence = sequenceOf(manifest, row.name);
  if (!sequence) return { ok: false, problem: `the manifest has no ${row.name} sequence at hand` };
  if (component >= manifest.components.length)
    return { ok: false, problem: `there is no component ${component}` };
  for (const { command } of commandsIn(sequence)) {
    if (command.offset - sequence.start !== offset) continue;
    const name = COMMANDS.get(command.row.code)?.name ?? `command ${command.row.code}`;
    return place === 'result' || recordable(command)
      ? { ok: true, section: row.name, command: name }
      : { ok: false, problem: `${name} leaves no record` };
  }
  return { ok: false, problem: `no command of ${row.name} begins at byte ${offset}` };
}

function recordable({ row, argument }: Command): boolean {
  return row.kind === 'condition' || (argument.type === 'policy' && (argument.policy & RECORD_BITS) !== 0);
}
