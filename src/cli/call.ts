import { wrongUse } from './exit.ts';
import type { Output } from './output.ts';
import type { Call, CommandSpec } from './spec.ts';

/** Wraps what the argument parser gave into the typed view that commands use. Throws on an option that was given nothing. */
export function makeCall(
  args: readonly string[],
  options: Record<string, unknown>,
  out: Output,
  commands: readonly CommandSpec[],
): Call {
  refuseEmpty(options);
  const value = (name: string) => options[camel(name)];
  const text = (name: string) => value(name) as string | undefined;
  return {
    args,
    text,
    texts: (name) => (value(name) as string[] | undefined) ?? [],
    count: (name) => readCount(name, text(name)),
    big: (name) => readBig(name, text(name)),
    flag: (name) => value(name) === true,
    out,
    commands,
    passphraseFd: readCount('passphrase-fd', text('passphrase-fd')),
    workspaceOption: text('workspace'),
  };
}

/** Before anything is done: most likely a shell variable that is not set. */
function refuseEmpty(options: Record<string, unknown>): void {
  for (const [key, given] of Object.entries(options)) {
    const isEmpty = Array.isArray(given) ? given.includes('') : given === '';
    if (isEmpty)
      throw wrongUse(
        `--${dashed(key)} was given nothing`,
        'give it a value, or leave it out; a shell variable that is not set looks like this',
      );
  }
}

function dashed(key: string): string {
  return key.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
}

function camel(name: string): string {
  return name.replace(/-([a-z])/g, (_, letter: string) => letter.toUpperCase());
}

function readCount(name: string, text: string | undefined): number | undefined {
  const number = readBig(name, text);
  if (number === undefined) return undefined;
  if (number > BigInt(Number.MAX_SAFE_INTEGER)) throw notWhole(name, text!);
  return Number(number);
}

function readBig(name: string, text: string | undefined): bigint | undefined {
  if (text === undefined) return undefined;
  if (!/^\d{1,20}$/.test(text)) throw notWhole(name, text);
  return BigInt(text);
}

function notWhole(name: string, text: string): Error {
  return wrongUse(`--${name} ${text}: expected a whole number`, `for example --${name} 3`);
}
