// Sealing with the image encrypted, against the work that nobody can leave out: one `openssl enc` of the same file with the
// same cipher, and one `openssl dgst` each over plaintext and ciphertext.
import { appendFileSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { FIELDSEAL, GIB, MIB } from './folder.mjs';
import { median, medianRatio, takeTurns, timeCommand } from './rounds.mjs';
import { peakMemory } from './sealing.mjs';

const ROUNDS = 7;
const WAYS = { detached: ['--detached'], integrated: [] };

export async function benchEncrypting(report, folder) {
  report.part('Encrypting 1 GiB while sealing, against one openssl enc and two openssl dgst');
  addClass(folder);
  const image = folder.randomFile('1g.bin', GIB);
  await timeEncrypting(report, folder, image);
  measureMemory(report, folder, image);
  folder.remove('1g.bin', '1g.enc', ...sealedNames());
}

/** One content key for the whole class, so that no unit has to be made. */
function addClass(folder) {
  folder.run(...'class add veiled --model BIG-2 --scheme asymmetric --core none --slot-size 2GiB'.split(' '));
  const file = join(folder.workspace, 'classes/veiled.yaml');
  writeFileSync(file, readFileSync(file, 'utf8').replace(/^confidentiality: .*$/m, 'confidentiality: image'));
  appendFileSync(file, 'recipients: class\n');
  folder.run('content-key', 'create', 'veiled');
}

async function timeEncrypting(report, folder, image) {
  const inWorkspace = { cwd: folder.workspace, env: folder.env };
  const sides = { openssl: () => referenceTime(folder, image) };
  for (const [way, flags] of Object.entries(WAYS)) {
    sides[way] = () => timeCommand(encrypting(folder, image, ...flags), inWorkspace);
  }
  await takeTurns(1, sides);
  const { openssl, ...ways } = await takeTurns(ROUNDS, sides);
  for (const [way, times] of Object.entries(ways)) {
    report.bound(
      `wall time, ${way}, ratio`,
      medianRatio(times, openssl),
      1.2,
      `median of ${ROUNDS} pairs; ${median(times).toFixed(0)} ms against ${median(openssl).toFixed(0)} ms`,
    );
  }
}

/** Milliseconds of the three commands one after the other. Key and IV are made up, as the bench's image is. */
function referenceTime(folder, image) {
  const ciphertext = folder.file('1g.enc');
  const key = ['-K', '000102030405060708090a0b0c0d0e0f', '-iv', '101112131415161718191a1b1c1d1e1f'];
  return (
    timeCommand(['openssl', 'enc', '-aes-128-ctr', ...key, '-in', image, '-out', ciphertext]) +
    timeCommand(['openssl', 'dgst', '-sha256', image]) +
    timeCommand(['openssl', 'dgst', '-sha256', ciphertext])
  );
}

function encrypting(folder, image, ...more) {
  const out = ['--out', folder.file('veiled.suit'), '--force', '--json'];
  return [...FIELDSEAL, 'seal', image, '--class', 'veiled', '--version', '1.0.0', ...out, ...more];
}

function sealedNames() {
  return ['veiled.suit', 'veiled.suit.bin'];
}

function measureMemory(report, folder, oneGib) {
  const small = folder.randomFile('64m.bin', 64 * MIB);
  for (const [way, flags] of Object.entries(WAYS)) {
    const [least, most] = [small, oneGib].map((image) =>
      peakMemory(folder, encrypting(folder, image, ...flags)),
    );
    report.bound(`peak memory, 1 GiB ${way}`, most, 200, 'VmHWM of the process', { unit: ' MB' });
    report.bound(`peak, 1 GiB to 64 MiB, ${way}`, most / least, 1.2, 'does not grow with size');
  }
  folder.remove('64m.bin');
}
