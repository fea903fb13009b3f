// Start-up against a node that does nothing.
import { FIELDSEAL } from './folder.mjs';
import { median, medianRatio, takeTurns, timeCommand } from './rounds.mjs';

const ROUNDS = 31;

export async function benchStartUp(report, folder) {
  report.part('Start-up against `node -e 0`');
  const sides = {
    nothing: () => timeCommand([process.execPath, '-e', '0']),
    help: () => timeCommand([...FIELDSEAL, '--help']),
    class: () =>
      timeCommand([...FIELDSEAL, 'class', 'show', 'vent', '--json'], {
        cwd: folder.workspace,
        env: folder.env,
      }),
  };
  await takeTurns(2, sides);
  const times = await takeTurns(ROUNDS, sides);
  const pairs = `median of ${ROUNDS} pairs; ${median(times.help).toFixed(0)} ms against ${median(times.nothing).toFixed(0)} ms`;
  report.bound('--help, ratio', medianRatio(times.help, times.nothing), 2, pairs);
  report.figure(
    'class show --json, ratio',
    `${medianRatio(times.class, times.nothing).toFixed(2).padStart(9)}   ${median(times.class).toFixed(0)} ms`,
  );
}
