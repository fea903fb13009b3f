/** Builds the device kit, and runs cases through it: on this machine, with sanitizers, or on an emulated Cortex-M3. */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { concat } from '../../src/bytes/index.ts';

/** The folder of the kit. */
export const DEVICE = fileURLToPath(new URL('../../device', import.meta.url));

/** Where cases run, and the program for them. */
export type Target = 'host' | 'sanitized' | 'cortex-m';
export type Program = 'runner' | 'crypto-runner';

/** A board with a Cortex-M3 and RAM enough for the runner's buffers. */
export const MACHINE = 'mps2-an385';
/** A run that takes longer than this hangs. */
const LIMIT_MS = 600_000;

/** The file of a program. */
export function builtFile(target: Target | 'fuzzer', program: string): string {
  return join(DEVICE, 'build', target, target === 'cortex-m' ? `${program}.elf` : program);
}

/** Builds targets of the kit's Makefile; throws with what the build said. */
export function make(...targets: readonly string[]): void {
  const { status, stdout, stderr } = spawnSync('make', ['-s', '-j2', '-C', DEVICE, ...targets], {
    encoding: 'utf8',
  });
  if (status !== 0) throw new Error(`make ${targets.join(' ')}: ${stdout}${stderr}`);
}

/** The emulator's arguments for a program without screen or keyboard; `args` reach it by semihosting. */
export function emulatorArguments(program: string, args: readonly string[] = []): string[] {
  const words = [program, ...args].map((arg) => `,arg=${arg}`).join('');
  return [
    ...['-M', MACHINE, '-nographic', '-monitor', 'none', '-serial', 'none'],
    ...['-semihosting-config', `enable=on,target=native${words}`, '-kernel', program],
  ];
}

/** Runs records; gives one line for each that says something. Throws where the program ends in another way. */
export function runCases(target: Target, program: Program, records: readonly Uint8Array[]): string[] {
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-device-'));
  try {
    const [input, output] = [join(folder, 'cases'), join(folder, 'lines')];
    writeFileSync(input, concat(...records));
    const file = builtFile(target, program);
    const [command, args] =
      target === 'cortex-m'
        ? ['qemu-system-arm', emulatorArguments(file, [input, output])]
        : [file, [input, output]];
    execFileSync(command, args, { stdio: ['ignore', 'ignore', 'pipe'], timeout: LIMIT_MS });
    return readFileSync(output, 'utf8').split('\n').slice(0, -1);
  } finally {
    rmSync(folder, { recursive: true });
  }
}
