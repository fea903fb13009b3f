/** An emulated board whose flash is a file: it survives the board, however that ends. */
import { type ChildProcess, spawn } from 'node:child_process';
import { closeSync, openSync, readFileSync, writeSync } from 'node:fs';
import { MACHINE } from '../../scripts/device/runner.ts';

/** Flash and what else the file holds, 16 MiB. */
const MEMORY_SIZE = 16 << 20;
/** What belongs to the one unit (device/example/unit.c): marks key, device identifier, and where the power goes. */
const OWN_OFFSET = 0x00f00000;
const CUT_KINDS = { never: 0, before: 1, middle: 2, after: 3 };
export type CutKind = keyof typeof CUT_KINDS;

/** Makes the memory of a board: flash content, and what provisioning gave the unit. */
export function writeMemory(
  file: string,
  content: Uint8Array,
  marksKey: Uint8Array,
  deviceId: Uint8Array,
): void {
  const handle = openSync(file, 'w');
  writeSync(handle, content, 0, content.length, 0);
  writeSync(handle, Buffer.concat([marksKey, deviceId]), 0, 48, OWN_OFFSET);
  writeSync(handle, Buffer.of(0), 0, 1, MEMORY_SIZE - 1);
  closeSync(handle);
}

/** Schedules where the power goes: `after` flash operations of a program, at the next one. */
export function scheduleCut(file: string, kind: CutKind, after: number): void {
  const words = Buffer.alloc(8);
  words.writeUInt32LE(CUT_KINDS[kind], 0);
  words.writeUInt32LE(after, 4);
  const handle = openSync(file, 'r+');
  writeSync(handle, words, 0, 8, OWN_OFFSET + 48);
  closeSync(handle);
}

/** What lies in flash now, as it lies. */
export function readFlash(file: string, size: number): Uint8Array {
  return new Uint8Array(readFileSync(file).subarray(0, size));
}

/** A board under power. */
export class Board {
  readonly #process: ChildProcess;
  #heard = '';
  #wake: () => void = () => {};
  #gone = false;

  constructor(program: string, memory: string) {
    this.#process = spawn(
      'qemu-system-arm',
      [
        ...['-M', `${MACHINE},memory-backend=flash`, '-object'],
        `memory-backend-file,id=flash,mem-path=${memory},size=16M,share=on`,
        ...['-nographic', '-monitor', 'none', '-serial', 'stdio', '-kernel', program],
      ],
      { stdio: ['pipe', 'pipe', 'inherit'] },
    );
    this.#process.stdout!.on('data', (bytes: Buffer) => {
      this.#heard += bytes.toString('latin1');
      this.#wake();
    });
    this.#process.on('exit', () => {
      this.#gone = true;
      this.#wake();
    });
  }

  /** The next line that it says. */
  async line(): Promise<string> {
    for (;;) {
      const end = this.#heard.indexOf('\n');
      if (end >= 0) {
        const line = this.#heard.slice(0, end).trim();
        this.#heard = this.#heard.slice(end + 1);
        return line;
      }
      if (this.#gone) throw new Error(`the board is gone; it had said ${JSON.stringify(this.#heard)}`);
      await new Promise<void>((wake) => (this.#wake = wake));
    }
  }

  /** Lines, one after the other. */
  async lines(count: number): Promise<string[]> {
    const lines: string[] = [];
    while (lines.length < count) lines.push(await this.line());
    return lines;
  }

  /** An order of one byte, and what goes with it. */
  say(order: string, bytes: Uint8Array = new Uint8Array(0)): void {
    this.#process.stdin!.write(Buffer.concat([Buffer.from(order, 'latin1'), bytes]));
  }

  /** An envelope to install. */
  offer(envelope: Uint8Array): void {
    const length = Buffer.alloc(4);
    length.writeUInt32BE(envelope.length);
    this.say('e', Buffer.concat([length, envelope]));
  }

  /** Ends it as a power cut does: nothing that it was doing comes to its end. */
  async kill(): Promise<void> {
    if (this.#gone) return;
    const gone = new Promise((done) => this.#process.once('exit', done));
    this.#process.kill('SIGKILL');
    await gone;
  }
}
