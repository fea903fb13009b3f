/**
 * Leaves out the machine instructions of the device kit, one after the other, and asks about forgeries on an emulated Cortex-M3
 * (`device/test/skip.c`). A skip that writes over the driver or its vectors ends the emulator: it goes on behind it.
 */
import { execFileSync, spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { concat } from '../../src/bytes/index.ts';
import { counted, record, u32 } from './case-file.ts';
import { builtFile, emulatorArguments } from './runner.ts';
import { classRecord, type KitUnit } from './unit-record.ts';

const CASES = { good: 70, places: 71, question: 72 };
/** An emulator that tells of no further instruction for so long does not come back. */
const SILENCE_MS = 60_000;
const GOOD = 'a5c33c96 5a1ec769';

/** One envelope, and who is asked. `marks`: the body of a record of marks. */
export interface SkipQuestion {
  readonly title: string;
  readonly unit: KitUnit;
  readonly marks: Uint8Array;
  readonly envelope: Uint8Array;
}

/** What came of it. */
export interface Skipped {
  /** Instructions that were left out. */
  readonly instructions: number;
  /** Address and title of each forgery that was accepted. */
  readonly accepted: readonly string[];
  /** Instructions without which the emulator ended or hung. */
  readonly ended: number;
  /** Titles of questions that with every instruction in its place are answered as they must not be. */
  readonly wrongWhole: readonly string[];
}

/**
 * `questions`: first a genuine one, which must be accepted, then forgeries. `good`: for each signature that verifies the first 8
 * bytes of SHA-256 over point, digest and signature. `every`: 1 leaves out each instruction, n every n-th. `of`: those of the kit,
 * with the HSS/LMS of its ports, or of that alone.
 */
export async function skipEach(
  questions: readonly SkipQuestion[],
  good: readonly Uint8Array[],
  every = 1,
  of: 'kit' | 'hss' = 'kit',
): Promise<Skipped> {
  const program = builtFile('cortex-m', 'skip');
  const places = instructionsOf(program, of).filter((_, i) => i % every === 0);
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-skip-'));
  try {
    const [input, output] = [join(folder, 'cases'), join(folder, 'lines')];
    writeFileSync(input, caseFile(questions, good, places));
    const lines: string[] = [];
    let ended = 0;
    for (let next = 0; next < places.length; ) {
      const whole = await run(program, [input, output, String(next)], output);
      const said = readFileSync(output, 'utf8').split('\n');
      lines.push(...said);
      if (whole) break;
      ended++;
      next = lastPlace(said, next) + 1;
    }
    return resultOf(lines, questions, places.length, ended);
  } finally {
    rmSync(folder, { recursive: true });
  }
}

function caseFile(
  questions: readonly SkipQuestion[],
  good: readonly Uint8Array[],
  places: readonly number[],
) {
  const units = [...new Set(questions.map(({ unit }) => unit))];
  return concat(
    record(CASES.good, counted(concat(...good))),
    record(CASES.places, counted(concat(...places.map(u32)))),
    ...units.flatMap((unit) => [
      classRecord(unit),
      ...questions
        .filter((question) => question.unit === unit)
        .map(({ marks, envelope }) => record(CASES.question, counted(marks), counted(envelope))),
    ]),
  );
}

/** Addresses of instructions; the lowest bit is set where one has two halves. Data between them are left out. */
function instructionsOf(program: string, of: 'kit' | 'hss'): number[] {
  const symbols = new Map(
    [...execFileSync('arm-none-eabi-nm', [program], { encoding: 'utf8' }).matchAll(/^(\w+) \w (\S+)$/gm)].map(
      ([, address, name]) => [name!, Number.parseInt(address!, 16)],
    ),
  );
  const [begin, end] = [`${of}_begin`, `${of}_end`].map((name) => symbols.get(name)!);
  const listing = execFileSync('arm-none-eabi-objdump', ['-d', program], {
    encoding: 'utf8',
    maxBuffer: 1 << 26,
  });
  return [...listing.matchAll(/^ *([0-9a-f]+):\t[0-9a-f]{4}( [0-9a-f]{4})? *\t([^.\s]\S*)/gm)]
    .map(([, address, second]) => Number.parseInt(address!, 16) | (second ? 1 : 0))
    .filter((address) => address >= begin! && address < end!);
}

/** Whether the program came to its end by itself. */
function run(program: string, args: readonly string[], output: string): Promise<boolean> {
  writeFileSync(output, '');
  const emulator = spawn('qemu-system-arm', ['-icount', 'shift=0', ...emulatorArguments(program, args)], {
    stdio: 'ignore',
  });
  return new Promise((resolve) => {
    let [size, since] = [-1, Date.now()];
    const watch = setInterval(() => {
      const now = readFileSync(output).length;
      if (now !== size) [size, since] = [now, Date.now()];
      else if (Date.now() - since > SILENCE_MS) emulator.kill('SIGKILL');
    }, 1000);
    emulator.on('exit', (status) => {
      clearInterval(watch);
      resolve(status === 0);
    });
  });
}

/** The instruction at which an emulator ended. */
function lastPlace(said: readonly string[], from: number): number {
  const places = said.filter((line) => /^at [0-9a-f]{8}$/.test(line));
  return places.length === 0 ? from : Number.parseInt(places.at(-1)!.slice(3), 16);
}

function resultOf(
  lines: readonly string[],
  questions: readonly SkipQuestion[],
  instructions: number,
  ended: number,
): Skipped {
  const answers = lines.filter((line) => line.startsWith('whole ')).slice(0, questions.length);
  const accepted = lines.flatMap((line) => {
    const [word, address, question] = line.split(' ');
    return word === 'accepted' ? [`${address}: ${questions[Number.parseInt(question!, 16)]!.title}`] : [];
  });
  const wrongWhole = questions.flatMap(({ title }, i) =>
    answers[i]?.endsWith(GOOD) === (i === 0) ? [] : [title],
  );
  return { instructions, accepted, ended, wrongWhole };
}
