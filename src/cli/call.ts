import { wrongUse } from './exit.ts';
import type { Output } from './output.ts';
import type { Call, CommandSpec } from './spec.ts';

/** Wraps what the argument parser gave into the typed view that commands use. */
export function makeCall(
  args: readonly string[],
  options: Record<string, unknown>,
  out: Output,
  commands: readonly CommandSpec[],
): Call {
  const value = (name: string) => options[camel(name)];
  const text = (name: string) => value(name) as string | undefined;
  return {
    args,
    text,
    texts: (name) => (value(name) as string[] | undefined) ?? [],
    count: (name) => readCount(name, text(name)),
    flag: (name) => value(name) === true,
    out,
    commands,
    passphraseFd: readCount('passphrase-fd', text('passphrase-fd')),
    workspaceOption: text('workspace'),
  };
}

function camel(name: string): string {
  return name.replace(/-([a-z])/g, (_, letter: string) => letter.toUpperCase());
}

function readCount(name: string, text: string | undefined): number | undefined {
  if (text === undefined) return undefined;
  const number = Number(text);
  if (!/^\d+$/.test(text) || !Number.isSafeInteger(number)) {
    throw wrongUse(`--${name} ${text}: expected a whole number`, `for example --${name} 3`);
  }
  return number;
}
