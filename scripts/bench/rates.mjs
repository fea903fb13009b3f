// Rates that no bound is set for: they show when something became slow.
import { sealedRelease } from './checking.mjs';
import { MIB } from './folder.mjs';
import { median, takeTurns } from './rounds.mjs';
import { lastCore, startWorker } from './worker.mjs';

const ROUNDS = 5;
const SIZE = 8 * MIB;

export async function benchRates(report, folder) {
  report.part('Rates, in MB of image a second (no bound)');
  const worker = await startWorker(folder, lastCore(), sealedRelease(folder));
  const rateOf = async (task) => (await worker.ask(task)).bytesPerSecond / 1e6;
  try {
    const rates = await takeTurns(ROUNDS, {
      'read and hash Intel HEX, 8 MiB': () => rateOf({ task: 'read', format: 'ihex', sizeBytes: SIZE }),
      'read and hash ELF, 8 MiB': () => rateOf({ task: 'read', format: 'elf', sizeBytes: SIZE }),
      'install 256 KiB on emulated flash': () => rateOf({ task: 'install' }),
    });
    for (const [title, values] of Object.entries(rates)) {
      report.figure(title, `${median(values).toFixed(1).padStart(9)} MB/s   median of ${ROUNDS}`);
    }
  } finally {
    worker.end();
  }
}
