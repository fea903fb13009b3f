/**
 * Passphrases by prompt, at a terminal as outsiders have it (util-linux `script`, whose terminal is 0 columns wide here):
 * asked on standard error, neither shown nor counted out, ended by either line end, given up by Ctrl-C and Ctrl-D.
 */
import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, COMMAND, cortexImage, PASSPHRASE } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const SEAL = 'seal app.bin --class vent --version 1.0.0 --force --out a.suit';
const hasScript = spawnSync('script', ['--version']).status === 0;

/** Runs `line` at a terminal and types one of `answers` whenever a passphrase is asked for. */
function atTerminal(line: string, answers: readonly string[]): Promise<{ status: number; shown: string }> {
  const { FIELDSEAL_PASSPHRASE: _none, ...environment } = bench.environment;
  const child: ChildProcess = spawn(
    'script',
    ['-qec', `${process.execPath} ${COMMAND} ${line}`, '/dev/null'],
    { cwd: bench.path('WS'), env: { ...environment, TERM: 'xterm' } },
  );
  let [shown, asked] = ['', 0];
  child.stdout!.on('data', (piece: Buffer) => {
    shown += piece.toString('latin1');
    const questions = shown.match(/assphrase[^\n]*: /g)?.length ?? 0;
    for (; asked < questions; asked++) child.stdin!.write(answers[asked] ?? '');
  });
  return new Promise((resolve) => {
    child.on('close', (status) => resolve({ status: status ?? -1, shown }));
  });
}

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(9_000));
  for (const line of [
    'class add vent --model VC-2 --scheme asymmetric',
    'root create',
    'signer create line-1',
  ])
    bench.ok(line, WS);
});

describe.skipIf(!hasScript)('a passphrase at a terminal', () => {
  it.each(['\r', '\n'])(
    'is ended by %j, and not shown, nor how long it is',
    async (end) => {
      const { status, shown } = await atTerminal(SEAL, [PASSPHRASE + end]);
      expect(status, shown).toBe(0);
      const [, ...after] = shown.split('Passphrase of the key line-1: ');
      expect(after).toHaveLength(1);
      expect(after[0]).toMatch(/^\r?\n/);
      expect(shown).not.toContain(PASSPHRASE);
    },
    120_000,
  );

  it.each([
    ['Ctrl-C', '\u0003'],
    ['Ctrl-D', '\u0004'],
  ])(
    '%s gives up: nothing is done, which is told, with status 3',
    async (_key, typed) => {
      const { status, shown } = await atTerminal(SEAL, [typed]);
      expect(shown).toContain('The prompt was cancelled; nothing was done.');
      expect(status).toBe(3);
    },
    120_000,
  );

  it('a new one is asked for twice, again until both agree; letters of any language and corrections count', async () => {
    const made = await atTerminal('signer create line-2', [
      `${PASSPHRASE}\r`,
      'gewächshaus lüften\r',
      'gewächshaus luften\r',
      'gewächshaus lüften\r',
      'gewächshaus lüfteX\u007fn\r',
    ]);
    expect(made.status, made.shown).toBe(0);
    bench.environment = { ...bench.environment, FIELDSEAL_PASSPHRASE: 'gewächshaus lüften' };
    bench.ok(`${SEAL} --signer line-2`, WS);
  }, 120_000);
});
