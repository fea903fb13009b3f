// Checking in one process against what `openssl speed` allows for the same signatures and hashed bytes, on one core.
import { median, medianRatio, runCommand, takeTurns } from './rounds.mjs';
import { lastCore, startWorker } from './worker.mjs';

const ROUNDS = 7;
/** Milliseconds until the checks are compiled. */
const WARM_UP = 8000;
const IMAGE_SIZE = 256 * 1024;

export async function benchChecking(report, folder) {
  report.part(
    'Checking a 256 KiB payload with its certificate chain, against openssl speed on the same core',
  );
  const core = lastCore();
  const worker = await startWorker(folder, core, sealedRelease(folder));
  try {
    const { signatures, hashedBytes, steps } = await worker.ask({ task: 'facts' });
    report.figure(
      'each check',
      `${signatures} signatures, ${hashedBytes} bytes hashed, ${steps} steps passed`,
    );
    await worker.ask({ task: 'check', milliseconds: WARM_UP });
    const { checks, allowed } = await takeTurns(ROUNDS, {
      checks: async () => (await worker.ask({ task: 'check', milliseconds: 1000 })).perSecond,
      allowed: () => allowedRate(core, signatures, hashedBytes),
    });
    report.bound(
      'checks, ratio',
      medianRatio(checks, allowed),
      0.8,
      `median of ${ROUNDS} pairs; ${median(checks).toFixed(0)} a second against ${median(allowed).toFixed(0)}`,
      { atLeast: true },
    );
  } finally {
    worker.end();
  }
}

/** A release of class vent, and what a unit of the class needs to judge it. */
export function sealedRelease(folder) {
  const image = folder.randomFile('vent.bin', IMAGE_SIZE);
  const envelope = folder.file('vent.suit');
  folder.run('seal', image, '--class', 'vent', '--version', '1.4.0', '--out', envelope, '--force');
  const deviceClass = JSON.parse(folder.run('class', 'show', 'vent', '--json'));
  return { envelope, deviceClass, root: folder.rootCertificate };
}

/** Checks a second that OpenSSL's own rates leave room for, were there nothing else to do. */
function allowedRate(core, signatures, hashedBytes) {
  const verified = speed(core, /^\+F4:\d+:\d+:[\d.]+:([\d.]+)/m, 'ecdsap256');
  const hashed = speed(core, /^\+F:\d+:sha256:([\d.]+)/m, '-evp', 'sha256', '-bytes', String(IMAGE_SIZE));
  return 1 / (signatures / verified + hashedBytes / hashed);
}

function speed(core, rate, ...what) {
  const printed = runCommand(['taskset', '-c', core, 'openssl', 'speed', '-mr', '-seconds', '1', ...what]);
  const found = rate.exec(printed);
  if (!found) throw new Error(`openssl speed ${what.join(' ')} printed no rate:\n${printed}`);
  return Number(found[1]);
}
