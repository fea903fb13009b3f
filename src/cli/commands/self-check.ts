import { formatAddress, formatSize } from '../../image/index.ts';
import { PowerCut, type SelfCheckFinding, type SelfCheckResult } from '../../unit/index.ts';
import { CommandFailure, EXIT } from '../exit.ts';
import { reportCut } from '../power-cut.ts';
import { bootEntryJson, showBootEntry } from '../show-boot.ts';
import { refusalJson } from '../show-verdict.ts';
import type { Call } from '../spec.ts';
import { cutOf, openUnitSession, type UnitSession } from '../unit-session.ts';

/** Lets a unit check itself for some ticks of its schedule. */
export async function run(call: Call): Promise<number> {
  const session = await openUnitSession(call, call.args[0]!, { cut: cutOf(call) });
  try {
    const result = session.unit.checkSelf(call.count('ticks') ?? wholeRound(session));
    requireArmed(result);
    const { record } = session.file;
    call.out.line(`unit ${record.serial} (${record.class_name})${record.trial ? '  [TRIAL unit]' : ''}`);
    show(call, session, result);
    call.out.result(resultJson(session, result));
    return result.outcome === 'sound' ? EXIT.done : EXIT.refused;
  } catch (error) {
    if (error instanceof PowerCut) return reportCut(call, session, 'self-check');
    throw error;
  } finally {
    session.close();
  }
}

/** Ticks to the end of the round: from what the unit would do with none. */
function wholeRound({ unit }: UnitSession): number {
  const { roundTicks, position, rules } = unit.checkSelf(0);
  return rules ? roundTicks - position / rules.slice_bytes : 0;
}

function requireArmed({ outcome }: SelfCheckResult): void {
  if (outcome === 'off') {
    throw new CommandFailure(
      EXIT.refused,
      'self-check-off',
      'the record of this unit asks for no self-check',
      'add attestation.self_check to its class, and provision a unit anew',
    );
  }
  if (outcome === 'not running') {
    throw new CommandFailure(
      EXIT.refused,
      'nothing-runs',
      'nothing runs on this unit: what would be checked was never verified',
      'start it: fieldseal boot',
    );
  }
}

function show(call: Call, { file }: UnitSession, result: SelfCheckResult): void {
  const { out } = call;
  const { rules, ticks, bytesRead, rounds, roundTicks, finding } = result;
  const { method, slice_bytes, every_seconds } = rules!;
  out.fact(
    'schedule',
    `${method}, ${formatSize(slice_bytes)} every ${every_seconds} s; a round takes ${durationText(roundTicks * every_seconds)}`,
  );
  out.fact(
    'checked',
    `${ticks} ticks, ${bytesRead} B read; ${rounds} rounds without a finding since the start`,
  );
  if (!finding) {
    out.line(out.paint.bold('sound: nothing has changed since the start'));
    return;
  }
  const { address, length, reaction, restart, logged } = finding;
  out.line(out.paint.bold(`changed: code at ${formatAddress(address)}, within ${length} bytes`));
  out.fact('reaction', reactionText(finding));
  if (restart) showBootEntry(out, restart.boot, file.record);
  if (!logged) out.caution('the boot log did not take this: the unit keeps none, or its flash is worn');
  if (reaction === 'report') {
    out.caution(
      'the unit goes on running what has changed; whether it may, the safety standard of the product decides',
    );
  }
}

function reactionText({ reaction, restart }: SelfCheckFinding): string {
  if (reaction === 'stop') return 'stopped: the product goes into its safe state and waits for service';
  if (reaction === 'report') return 'reported, nothing else';
  return restart?.started
    ? `restarted into verification: runs ${restart.started.image}`
    : 'restarted into verification: nothing started';
}

function durationText(seconds: number): string {
  if (seconds < 120) return `${seconds} s`;
  return seconds < 7200 ? `${Math.round(seconds / 60)} min` : `${(seconds / 3600).toFixed(1)} h`;
}

function resultJson({ file, flash }: UnitSession, result: SelfCheckResult): object {
  const { outcome, rules, ticks, bytesRead, position, rounds, roundTicks, finding } = result;
  return {
    format: 'fieldseal.self-check/1',
    serial: file.record.serial,
    outcome,
    method: rules!.method,
    slice_bytes: rules!.slice_bytes,
    every_seconds: rules!.every_seconds,
    round_seconds: roundTicks * rules!.every_seconds,
    ticks,
    read_bytes: bytesRead,
    position_bytes: position,
    rounds,
    finding: finding
      ? {
          address: finding.address,
          size_bytes: finding.length,
          reaction: finding.reaction,
          logged: finding.logged,
          restart: finding.restart
            ? {
                refusal: refusalJson(finding.restart.refusal),
                boot: bootEntryJson(finding.restart.boot, file.record),
              }
            : null,
        }
      : null,
    cut: false,
    operations: flash.operations,
  };
}
