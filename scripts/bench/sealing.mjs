// Sealing against `openssl dgst -sha256 -sign`: the same file, the same encrypted key, the passphrase by environment.
import { readdirSync, readFileSync, statSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { FIELDSEAL, GIB, MIB } from './folder.mjs';
import { median, medianRatio, runCommand, takeTurns, timeCommand } from './rounds.mjs';

const ROUNDS = 11;
const PEAK_MEMORY = fileURLToPath(new URL('peak-memory.mjs', import.meta.url));

export async function benchSealing(report, folder) {
  report.part('Sealing 1 GiB, detached, against openssl dgst -sha256 -sign with the same encrypted key');
  const image = folder.randomFile('1g.bin', GIB);
  await timeSealing(report, folder, image);
  measureDisk(report, folder, image);
  measureMemory(report, folder, image);
  folder.remove('1g.bin');
}

async function timeSealing(report, folder, image) {
  const inWorkspace = { cwd: folder.workspace, env: folder.env };
  const sides = {
    fieldseal: () => timeCommand(sealing(folder, image, '--detached'), inWorkspace),
    openssl: () => timeCommand(signing(folder, image), inWorkspace),
  };
  await takeTurns(1, sides);
  const { fieldseal, openssl } = await takeTurns(ROUNDS, sides);
  report.bound(
    'wall time, ratio',
    medianRatio(fieldseal, openssl),
    1.1,
    `median of ${ROUNDS} pairs; ${median(fieldseal).toFixed(0)} ms against ${median(openssl).toFixed(0)} ms`,
  );
}

function sealing(folder, image, ...more) {
  const out = ['--out', folder.file('bench.suit'), '--force', '--json'];
  return [...FIELDSEAL, 'seal', image, '--class', 'big', '--version', '1.0.0', ...out, ...more];
}

function signing(folder, image) {
  const key = ['-sign', folder.signerKey, '-passin', 'env:FIELDSEAL_PASSPHRASE'];
  return ['openssl', 'dgst', '-sha256', ...key, '-out', folder.file('bench.sig'), image];
}

function measureDisk(report, folder, image) {
  const before = new Set(readdirSync(folder.path));
  folder.remove('bench.suit');
  runCommand(sealing(folder, image, '--detached'), { cwd: folder.workspace, env: folder.env });
  const made = readdirSync(folder.path).filter((name) => name === 'bench.suit' || !before.has(name));
  const bytes = made.reduce((sum, name) => sum + statSync(folder.file(name)).size, 0);
  report.bound('written beside the image', bytes / 1024, 16, `${made.join(', ')}: the image is not copied`, {
    unit: ' KiB',
  });
}

function measureMemory(report, folder, oneGib) {
  const small = folder.emptyFile('64m.bin', 64 * MIB);
  const large = folder.emptyFile('2g.bin', 2 * GIB);
  for (const [how, images] of [
    ['detached', { '64 MiB': small, '1 GiB': oneGib, '2 GiB': large }],
    ['integrated', { '64 MiB': small, '1 GiB': oneGib }],
  ]) {
    const flags = how === 'detached' ? ['--detached'] : [];
    const peaks = Object.entries(images).map(([size, image]) => {
      const peak = peakMemory(folder, sealing(folder, image, ...flags));
      report.bound(`peak memory, ${size} ${how}`, peak, 200, 'VmHWM of the process', { unit: ' MB' });
      return peak;
    });
    report.bound(
      `peak, largest to smallest, ${how}`,
      peaks.at(-1) / peaks[0],
      1.2,
      'does not grow with size',
    );
  }
  folder.remove('64m.bin', '2g.bin', 'bench.suit');
}

/** The most memory that a command of ours held, in MB of 10^6 bytes. */
export function peakMemory(folder, [node, ...rest]) {
  const peakFile = folder.file('peak');
  const env = { ...folder.env, BENCH_PEAK_FILE: peakFile };
  runCommand([node, '--import', PEAK_MEMORY, ...rest], { cwd: folder.workspace, env });
  return (Number(readFileSync(peakFile, 'utf8')) * 1024) / 1e6;
}
