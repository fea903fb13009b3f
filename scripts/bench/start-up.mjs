// Start-up against a node that does nothing.
import { sealedRelease } from './checking.mjs';
import { FIELDSEAL } from './folder.mjs';
import { median, medianRatio, takeTurns, timeCommand } from './rounds.mjs';

const ROUNDS = 31;

export async function benchStartUp(report, folder) {
  report.part('Start-up against `node -e 0`');
  const unit = folder.file('vent-0001.unit');
  const { envelope } = sealedRelease(folder);
  folder.run('provision', 'vent', '--serial', '0001', '--out', unit);
  const sides = {
    nothing: () => timeCommand([process.execPath, '-e', '0']),
    help: () => timeCommand([...FIELDSEAL, '--help']),
    check: () =>
      timeCommand([...FIELDSEAL, 'check', envelope, '--unit', unit, '--json'], { env: folder.env }),
  };
  await takeTurns(2, sides);
  const times = await takeTurns(ROUNDS, sides);
  const pairs = `median of ${ROUNDS} pairs; ${median(times.help).toFixed(0)} ms against ${median(times.nothing).toFixed(0)} ms`;
  report.bound('--help, ratio', medianRatio(times.help, times.nothing), 2, pairs);
  report.figure(
    'check --json, 256 KiB, ratio',
    `${medianRatio(times.check, times.nothing).toFixed(2).padStart(9)}   ${median(times.check).toFixed(0)} ms`,
  );
}
