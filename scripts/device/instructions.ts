/** How many instructions an emulated core carries out in the kit, and in the crypto that it calls. */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { concat } from '../../src/bytes/index.ts';
import { builtFile, DEVICE, emulatorArguments, make } from './runner.ts';

const CORTEX_M = join(DEVICE, 'build', 'cortex-m');
/** What the compiler calls in the place of a loop: counted as the kit's, whoever calls it. */
const MEMORY_CALLS = ['memcpy', 'memset', 'memcmp'];

/** Instructions: of the kit with what moves memory, and of the crypto port with its libraries. */
export interface Instructions {
  readonly kit: number;
  readonly crypto: number;
}

/** Runs the records of a case file on the emulated core, and counts. */
export function countInstructions(records: readonly Uint8Array[]): Instructions {
  make('counter');
  const program = builtFile('cortex-m', 'runner');
  const symbols = symbolsOf([program], '-S').filter(({ size }) => size > 0);
  const named = (files: readonly string[]) => new Set(symbolsOf(files).map(({ name }) => name));
  const kit = new Set([...named(objectsIn('src')), ...MEMORY_CALLS]);
  const crypto = named([...objectsIn('ports/crypto'), join(CORTEX_M, 'libcrypto.a')]);
  const ranges = symbols.filter(({ name }) => kit.has(name) || crypto.has(name));
  const counts = run(program, records, ranges);
  const sum = (names: ReadonlySet<string>) =>
    ranges.reduce((total, { name }, i) => total + (names.has(name) ? counts[i]! : 0), 0);
  return { kit: sum(kit), crypto: sum(new Set([...crypto].filter((name) => !kit.has(name)))) };
}

interface CodeSymbol {
  readonly name: string;
  readonly address: number;
  readonly size: number;
}

const objectsIn = (folder: string) =>
  readdirSync(join(CORTEX_M, folder)).flatMap((name) =>
    name.endsWith('.o') ? [join(CORTEX_M, folder, name)] : [],
  );

/** Functions of object files: address, size where it is asked for, kind, name. */
function symbolsOf(files: readonly string[], ...options: readonly string[]): CodeSymbol[] {
  const text = execFileSync('arm-none-eabi-nm', ['--defined-only', ...options, ...files], {
    encoding: 'utf8',
  });
  return text.split('\n').flatMap((line) => {
    const [, address, size, name] = /^([0-9a-f]+) (?:([0-9a-f]+) )?[tTwW] (\S+)$/.exec(line) ?? [];
    if (name === undefined) return [];
    return [{ name, address: Number.parseInt(address!, 16) & ~1, size: Number.parseInt(size ?? '0', 16) }];
  });
}

function run(program: string, records: readonly Uint8Array[], ranges: readonly CodeSymbol[]): number[] {
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-count-'));
  try {
    const [input, output] = [join(folder, 'cases'), join(folder, 'lines')];
    writeFileSync(input, concat(...records));
    const words = ranges.map(
      ({ address, size }) => `,range=${address.toString(16)}-${(address + size).toString(16)}`,
    );
    const plugin = ['-plugin', join(DEVICE, 'build', 'counter', `count.so${words.join('')}`)];
    const args = [...plugin, ...emulatorArguments(program, [input, output])];
    const { status, stderr } = spawnSync('qemu-system-arm', args, { encoding: 'utf8' });
    if (status !== 0) throw new Error(`the emulator ended with ${status}: ${stderr}`);
    return stderr.trim().split('\n').map(Number);
  } finally {
    rmSync(folder, { recursive: true });
  }
}
