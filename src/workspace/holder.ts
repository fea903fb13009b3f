import { readFileSync } from 'node:fs';
import { hostname } from 'node:os';
import { isRunning } from './files.ts';

/** A process, told from every other that has or had its number. */
export interface Holder {
  readonly pid: number;
  /** When it began, in clock ticks after the machine did; '' where the system does not say. */
  readonly began: string;
  /** Which start of the machine that was; '' where the system does not say. */
  readonly boot: string;
  readonly host: string;
}

const FORM = /^(\d+)\.(\d*)\.([0-9a-f]*)\.(.*)$/;
// proc(5): after the name in brackets come the state and, as field 22, the start time.
const STATE = 0;
const START_TIME = 19;
const ENDED = new Set(['Z', 'X']);
const BOOT_DIGITS = 8;

let self: Holder | undefined;

/** This process. */
export function thisProcess(): Holder {
  self ??= {
    pid: process.pid,
    began: statusOf(process.pid)?.[START_TIME] ?? '',
    boot: (textOf('/proc/sys/kernel/random/boot_id') ?? '').replaceAll('-', '').slice(0, BOOT_DIGITS).trim(),
    host: hostname(),
  };
  return self;
}

/** A holder in one short line. */
export function holderText({ pid, began, boot, host }: Holder): string {
  return `${pid}.${began}.${boot}.${host}`;
}

/** The holder that a line names; undefined where it is none of ours. */
export function readHolder(text: string): Holder | undefined {
  const [, pid, began, boot, host] = FORM.exec(text) ?? [];
  return pid === undefined ? undefined : { pid: Number(pid), began: began!, boot: boot!, host: host! };
}

/** Whether a process has ended, by what this machine can tell: nothing of processes of another. */
export function isGone({ pid, began, boot, host }: Holder): boolean {
  const here = thisProcess();
  if (host !== here.host) return false;
  if (boot !== here.boot || !isRunning(pid)) return true;
  const status = statusOf(pid);
  // One that was killed and that nobody has asked after still has its number.
  return status !== undefined && (status[START_TIME] !== began || ENDED.has(status[STATE]!));
}

function statusOf(pid: number): string[] | undefined {
  const text = textOf(`/proc/${pid}/stat`);
  return text?.slice(text.lastIndexOf(')') + 2).split(' ');
}

function textOf(path: string): string | undefined {
  try {
    return readFileSync(path, 'utf8');
  } catch {
    return undefined;
  }
}
