import { spawnSync } from 'node:child_process';
import { cpSync, existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { toHex } from '../../bytes/index.ts';
import { randomBytes } from '../../crypto/index.ts';
import { DRILLS, type Move, type Play, Stage, type StageFiles } from '../../incident/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { requireFree } from '../require-free.ts';
import type { Call } from '../spec.ts';

const IMAGE_SIZE = 6000;
const LARGEST_ANSWER = 64 << 20;

/** Plays an incident through. */
export function run(call: Call): number {
  const kind = call.args[0]!;
  const drill = DRILLS[kind];
  if (!drill)
    throw wrongUse(`there is no drill ${kind}`, `the drills are: ${Object.keys(DRILLS).join(', ')}`);
  const keep = call.text('keep');
  if (keep !== undefined) requireFree(keep);
  const folder = keep ?? mkdtempSync(join(tmpdir(), 'fieldseal-drill-'));
  mkdirSync(folder, { recursive: true });
  call.out.line(
    `drill ${kind}, on virtual units in a trial workspace of its own; each move is a real command`,
  );
  const stage = new Stage(playerIn(folder), filesIn(folder), (move) => showMove(call.out, move));
  try {
    drill(stage);
  } finally {
    if (keep === undefined) rmSync(folder, { recursive: true, force: true });
  }
  showEnd(call, stage);
  call.out.result({
    format: 'fieldseal.drill/1',
    kind,
    holds: stage.holds,
    folder: keep ?? null,
    moves: stage.moves.map(({ who, what, command, must, found, holds, at }) => ({
      who,
      what,
      command,
      must,
      found,
      holds,
      at_ms: at,
    })),
  });
  return stage.holds ? EXIT.done : EXIT.refused;
}

/** Every move is this very program, started anew, with a passphrase that lives as long as the drill. */
function playerIn(folder: string): Play {
  const {
    FIELDSEAL_ROOT_PASSPHRASE: _root,
    FIELDSEAL_PIN: _pin,
    FIELDSEAL_WORKSPACE: _workspace,
    ...rest
  } = process.env;
  const env = { ...rest, FIELDSEAL_PASSPHRASE: toHex(randomBytes(16)) };
  return (words, where) => {
    const { status, stdout, stderr } = spawnSync(process.execPath, [process.argv[1]!, ...words], {
      cwd: join(folder, where),
      env,
      encoding: 'utf8',
      input: '',
      maxBuffer: LARGEST_ANSWER,
    });
    return { status, json: parsed(stdout), told: stderr.split('\n')[0] ?? '' };
  };
}

function parsed(text: string): { readonly [name: string]: unknown } | undefined {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}

function filesIn(folder: string): StageFiles {
  return {
    copy: (from, to) => cpSync(join(folder, from), join(folder, to), { recursive: true }),
    image: (file, fill) => writeFileSync(join(folder, file), new Uint8Array(IMAGE_SIZE).fill(fill)),
    forget: (file) => {
      if (existsSync(join(folder, file))) rmSync(join(folder, file));
    },
  };
}

function showEnd({ out }: Call, { moves, holds }: Stage): void {
  const failed = moves.filter((move) => !move.holds).length;
  out.line(
    out.paint.bold(
      holds
        ? `it holds: ${moves.length} moves, each as it must be`
        : `it does NOT hold: ${failed} of ${moves.length} moves`,
    ),
  );
}

function showMove(out: Call['out'], { who, what, command, must, found, holds, at }: Move): void {
  const mark = holds ? out.paint.green('holds') : out.paint.red('FAILS');
  out.line(`  ${(at / 1000).toFixed(1).padStart(6)} s  ${who.padEnd(8)}  ${mark}  ${what}`);
  out.line(
    `                             ${out.paint.dim(`${command}  ->  ${holds ? found : `wanted ${must}, found ${found}`}`)}`,
  );
}
