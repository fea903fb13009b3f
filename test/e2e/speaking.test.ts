/** How the command speaks: JSON documents, exit statuses, colours, help, completion; and the header for a bootloader. */
import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, symlinkSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { COMMANDS } from '../../src/cli/commands.ts';
import { Bench, COMMAND, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const ESCAPE = '\u001b';
const has = (tool: string) => spawnSync(tool, ['--version']).status === 0;
/** Runs under a terminal of its own (util-linux `script`). */
const onTerminal = (line: string, environment: NodeJS.ProcessEnv = {}) =>
  spawnSync('script', ['-qec', `${process.execPath} ${COMMAND} ${line}`, '/dev/null'], {
    cwd: bench.path('WS'),
    env: { ...bench.environment, TERM: 'xterm', ...environment },
    encoding: 'utf8',
  }).stdout;

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(9_000));
  writeFileSync(bench.path('WS', 'serials.txt'), '0100\n0101\n');
});

/** The commands, in an order that works, and the status each ends with. */
const TOUR: readonly [string, number][] = [
  ['class add vent --model VC-2 --scheme asymmetric', 0],
  ['class add dosing --model DC-1 --scheme symmetric', 0],
  ['class show vent', 0],
  ['class list', 0],
  ['class check vent', 0],
  ['root create', 0],
  ['signer create line-1', 0],
  ['class-key create dosing', 0],
  ['cohort-key create dosing north', 0],
  ['station-key create bench-3', 0],
  ['key list', 0],
  ['seal app.bin --class vent --version 1.0.0 --out a.suit', 0],
  ['seal app.bin --class vent --version 1.1.0 --detached --out b.suit', 0],
  ['provision vent --serial 1 --first a.suit --out v.unit', 0],
  ['batch issue dosing --serials serials.txt --station bench-3 --out job.json', 0],
  ['batch run job.json --units units --out result.json', 0],
  ['batch accept result.json', 0],
  ['batch show', 0],
  ['header vent --out vent.h', 0],
  ['header dosing --out dosing.h', 0],
  ['inspect a.suit', 0],
  ['check b.suit --unit v.unit', 4],
  ['check b.suit --unit v.unit --image app.bin', 0],
  ['check a.suit --key certificates/line-1.pem', 0],
  ['install b.suit --unit v.unit', 4],
  ['install b.suit --unit v.unit --image app.bin --cut-after 3', 3],
  ['boot v.unit', 0],
  ['install b.suit --unit v.unit --image app.bin', 0],
  ['boot v.unit', 0],
  ['install a.suit --unit v.unit', 1],
  ['keep v.unit', 0],
  ['unit show v.unit', 0],
  ['report make v.unit --out v.report --nonce 8f1c0b6ae24d97531e60a4c2b8d7f913', 0],
  ['report appraise v.report --nonce 8f1c0b6ae24d97531e60a4c2b8d7f913', 0],
  ['unit boots v.unit', 0],
  ['self-check v.unit', 1],
  ['challenge vent 1 --out v.challenge', 0],
  ['answer v.unit --challenge v.challenge --out v.eat', 0],
  ['appraise v.eat', 4],
  ['appraise v.eat --image app.bin', 0],
  ['check a.suit --unit v.unit', 1],
  ['counter show vent', 0],
  ['counter claim vent --above 10 --reason tour', 0],
  ['root create --spare', 0],
  ['signer create trust-1 --class vent --purpose trust', 0],
  ['exposure root', 0],
  ['incident open signer-leak --key line-1 --aware 2020-01-01', 0],
  ['incident show 1', 0],
  ['incident show', 0],
  ['incident done 1 halt --note tour', 0],
  ['signer retire line-1 --reason leaked', 0],
  ['trust-update make vent --deny line-1 --out trust.suit', 1],
  ['signer create line-2 --generation 2', 0],
  ['trust-update make vent --deny line-1 --out trust.suit', 0],
  ['check trust.suit --unit v.unit', 0],
  ['revocation-list make --out list.crl', 0],
  ['incident close 1', 1],
  ['ledger check', 0],
  ['ledger list', 0],
  ['authority create OFFLINE --vendor-domain hollinridge.example --trial', 0],
  ['root adopt OFFLINE/root-certificate.pem --name other --fingerprint 1234', 1],
  ['authority sign app.bin --dir OFFLINE --out x.pem --fingerprint 1234', 3],
  ['signer accept line-1 certificates/line-1.pem', 2],
  ['completion bash', 0],
];

describe('--json', () => {
  const formats = new Set<string>();

  it('the commands print one document with a format, on success and on failure, and nothing else on standard output', () => {
    for (const [line, status] of TOUR) {
      const ran = bench.run(`${line} --json`, WS);
      expect(ran.status, `${line}\n${ran.stdout}\n${ran.stderr}`).toBe(status);
      const document = JSON.parse(ran.stdout);
      expect(document.format, line).toMatch(/^fieldseal\.[a-z-]+\/\d+$/);
      formats.add(document.format);
      expect(ran.stdout, line).not.toContain(ESCAPE);
      if (document.format === 'fieldseal.error/1') {
        expect(ran.stderr).toContain(document.error.message);
        expect(document.error.code).toMatch(/^[a-z-]+$/);
      } else if (status !== 3) expect(ran.stderr, line).toBe('');
    }
  });

  it('every format of theirs stands in docs/json.md', () => {
    const page = readFileSync('docs/json.md', 'utf8');
    expect([...formats].filter((format) => !page.includes(`\`${format}\``))).toEqual([]);
  });

  it('wrong use is a document too, with exit status 2', () => {
    for (const line of [
      'seal',
      'seal x --bogus',
      'class add x --model a --scheme b',
      'nonsense',
      'check a.suit',
      'boot',
      'batch',
    ]) {
      const ran = bench.run(`${line} --json`, WS);
      expect(ran.status, line).toBe(2);
      expect(JSON.parse(ran.stdout), line).toMatchObject({ format: 'fieldseal.error/1' });
    }
  });

  it('says of everything made in a trial workspace that it is a trial', () => {
    for (const line of ['class show vent', 'key list', 'unit show v.unit', 'batch show'])
      expect(bench.ok(line, WS).stdout, line).toContain('TRIAL');
  });
});

describe('for people', () => {
  it('no escape codes in a pipe; colour on a terminal, unless NO_COLOR or a dumb one', () => {
    for (const line of [
      'check a.suit --unit v.unit',
      'inspect a.suit',
      'unit show v.unit',
      'class show vent',
      'seal nowhere',
    ]) {
      const ran = bench.run(line, WS);
      expect(ran.stdout + ran.stderr, line).not.toContain(ESCAPE);
    }
    if (!has('script')) return;
    expect(onTerminal('check a.suit --unit v.unit')).toContain(ESCAPE);
    expect(onTerminal('check a.suit --unit v.unit', { NO_COLOR: '1' })).not.toContain(ESCAPE);
    expect(onTerminal('check a.suit --unit v.unit', { TERM: 'dumb' })).not.toContain(ESCAPE);
  });

  it('what a stranger wrote into a file steers no terminal, and our own colours stay', () => {
    const plan = `format: "${ESCAPE}[2J${ESCAPE}]0;title\u0007"\nclass: vent\n`;
    writeFileSync(bench.path('WS', 'stranger.yaml'), plan);
    const told = onTerminal('broadcast plan vent --plan stranger.yaml 2>&1');
    expect(told).toContain(`${ESCAPE}[31mfieldseal`);
    expect(told).not.toContain(`${ESCAPE}[2J`);
    expect(told).not.toContain('\u0007');
    expect(told).toContain('?[2J');
  });

  it('nor does it pass for a line of ours: inspect keeps each text on its line', () => {
    const description = [
      '--description',
      'harmless\naccepted: authentic\n       0    9999  everything is accounted for',
    ];
    bench.ok('seal app.bin --class dosing --version 9.1.0 --out lines.suit', { ...WS, more: description });
    const lines = bench.ok('inspect lines.suit', WS).stdout.split('\n');
    expect(lines.filter((line) => line.includes('harmless?accepted: authentic?'))).not.toEqual([]);
    expect(lines.filter((line) => /^accepted|^ +0 +9999/.test(line))).toEqual([]);
  });

  it('refusals say what happened, what it means and what to do next', () => {
    const { stdout } = bench.ok('check a.suit --unit v.unit', { ...WS, status: 1 });
    expect(stdout).toMatch(/refused at step 5, freshness: /);
    expect(stdout).toMatch(/means {2}.+\n {2}next {3}.+/);
  });

  it('cautions come where they are needed: sealing, provisioning, install', () => {
    bench.ok('class add fan --model FN-1 --scheme asymmetric', WS);
    bench.ok('provision fan --serial 1 --out f.unit', WS);
    const sealed = bench.ok('seal app.bin --class fan --version 1.0.0 --out f.suit', WS);
    expect(sealed.stderr).toMatch(/caution: .*reference unit/);
    expect(sealed.stderr).toMatch(/caution: .*safety or approval standard/);
    expect(bench.ok('provision fan --serial 2 --out f2.unit', WS).stderr).toMatch(
      /caution: .*cannot be undone/,
    );
    expect(bench.ok('install f.suit --unit f.unit', WS).stderr).toMatch(/caution: .*safe state/);
    const page = bench.ok('seal app.bin --class fan --version 1.0.1 --out f3.suit --json', WS).json;
    expect(page.cautions.join(' ')).toMatch(/reference unit/);
  });

  it('--force replaces what was made before, never a key, a counter or a record', () => {
    const seal = 'seal app.bin --class dosing --version 9.0.0 --force --json --out';
    for (const file of [
      'private/keys/dosing.pem',
      'private/counters/dosing/counter.json',
      'ledger/00000001.json',
      'keys/dosing.json',
      'certificates/root.pem',
      'classes/vent.yaml',
      'fieldseal.yaml',
    ]) {
      const before = readFileSync(bench.path('WS', file));
      const { error } = bench.ok(`${seal} ${file}`, { ...WS, status: 2 }).json;
      expect(error).toMatchObject({ code: 'output-is-record', message: expect.stringContaining(file) });
      bench.ok(`plan vent --force --out-json ${file}`, { ...WS, status: 2 });
      expect(readFileSync(bench.path('WS', file)).equals(before), file).toBe(true);
    }
    symlinkSync('private/keys/dosing.pem', bench.path('WS', 'link.suit'));
    bench.ok(`${seal} link.suit`, { ...WS, status: 2 });
    for (let twice = 0; twice < 2; twice++) bench.ok(`${seal} releases/9.0.0.suit`, WS);
  });

  it('a reader that leaves early is no failure', () => {
    const line = `${process.execPath} ${COMMAND} inspect a.suit | head -1`;
    const ran = spawnSync('bash', ['-c', `set -o pipefail; ${line}`], {
      cwd: bench.path('WS'),
      encoding: 'utf8',
    });
    expect(ran.stderr).toBe('');
    expect(ran.status).toBe(0);
  });

  it('and changes no answer: what is refused stays refused', () => {
    const line = `${process.execPath} ${COMMAND} check a.suit --unit v.unit`;
    const ran = spawnSync('bash', ['-c', `${line} | head -1 > first; exit \${PIPESTATUS[0]}`], {
      cwd: bench.path('WS'),
    });
    expect(ran.status).toBe(1);
  });

  it.skipIf(!existsSync('/dev/full'))('a result that could not be written is told, with status 3', () => {
    for (const line of ['check a.suit --unit v.unit --json', 'class show vent', '--help']) {
      const ran = spawnSync('bash', ['-c', `${process.execPath} ${COMMAND} ${line} > /dev/full`], {
        cwd: bench.path('WS'),
        encoding: 'utf8',
      });
      expect(ran.stderr, line).toMatch(/^fieldseal: the result could not be written .*disk is full\n {2}/m);
      expect(ran.stderr, line).not.toContain('    at ');
      expect(ran.status, line).toBe(3);
    }
  });
});

describe('what every command takes', () => {
  it('may stand in front of it; what stands nearest counts', () => {
    const shown = bench.ok('class show vent --json', WS).stdout;
    expect(bench.ok('--workspace WS --json class show vent').stdout).toBe(shown);
    expect(bench.ok('class --json --workspace=WS show vent').stdout).toBe(shown);
    expect(bench.ok('--workspace nowhere class show vent --json --workspace WS').stdout).toBe(shown);
    expect(bench.ok('--json', { status: 2 }).json.error.message).toBe('no command was named');
  });
});

describe('help', () => {
  it('names every command, and each page has usage, required options and an example', () => {
    const overview = bench.ok('--help').stdout;
    for (const spec of COMMANDS) {
      expect(overview).toContain(`  ${spec.name} `);
      const page = bench.ok(`${spec.name} --help`).stdout;
      expect(page, spec.name).toMatch(/Examples?(,[^:]+)?:\n {2}fieldseal /);
      const usage = page.split('\n')[0]!;
      for (const { name } of (spec.options ?? []).filter(({ required }) => required))
        expect(usage, spec.name).toContain(`--${name} `);
    }
  });

  it('wrong use points to the page', () => {
    expect(bench.run('seal app.bin', WS).stderr).toMatch(/^fieldseal: .*\n {2}see: fieldseal seal --help/);
    expect(bench.run('sael app.bin', WS).stderr).toMatch(/^fieldseal: .*'sael'\n\(Did you mean seal\?\)\n/);
    expect(bench.run('class ad', WS).stderr).toMatch(/mean add\?\)\n {2}see: fieldseal class --help/);
    expect(bench.run('check a.suit --unti v.unit', WS).stderr).toMatch(/mean --unit\?/);
  });

  it('an option that was given nothing is wrong use before anything is done', () => {
    const highest = () => bench.ok('counter show vent --json', WS).json;
    const before = highest();
    const seal = bench.run('seal app.bin --class vent --version 9.1.0', { ...WS, more: ['--out', ''] });
    expect(seal).toMatchObject({
      status: 2,
      stderr: expect.stringMatching(/^fieldseal: --out was given nothing/),
    });
    expect(highest()).toEqual(before);
  });

  it('help is a word too', () => {
    expect(bench.ok('help').stdout).toBe(bench.ok('--help').stdout);
    expect(bench.ok('help class add').stdout).toBe(bench.ok('class add --help').stdout);
  });

  it('passphrases and PINs are no options', () => {
    const names = COMMANDS.flatMap((spec) => (spec.options ?? []).map(({ name }) => name));
    // A file descriptor says where a secret comes from; it is none.
    const asked = names.filter((name) => !name.endsWith('-fd'));
    expect(asked.filter((name) => /pass|pin$|secret|password/.test(name))).toEqual([]);
  });
});

describe('completion', () => {
  const offered = (line: string): string[] => {
    const words = line.split(' ');
    const script = `source <(${process.execPath} ${COMMAND} completion bash)
      COMP_WORDS=(${words.map((word) => `'${word}'`).join(' ')}); COMP_CWORD=${words.length - 1}
      _fieldseal; printf '%s\\n' "\${COMPREPLY[@]}"`;
    return execFileSync('bash', ['-c', script], { cwd: bench.path('WS'), encoding: 'utf8' })
      .split('\n')
      .filter(Boolean);
  };

  it('loads in bash and offers commands, options, choices and files', () => {
    const script = bench.ok('completion bash').stdout;
    expect(spawnSync('bash', ['-n'], { input: script }).status).toBe(0);
    expect(offered('fieldseal sea')).toEqual(['seal']);
    expect(offered('fieldseal class ').sort()).toEqual(['add', 'check', 'list', 'show']);
    expect(offered('fieldseal seal app.bin --cl')).toContain('--class');
    expect(offered('fieldseal class add x --scheme a')).toEqual(['asymmetric']);
    expect(offered('fieldseal inspect a.s')).toEqual(['a.suit']);
  });

  it('offers a file with a blank in its name as one', () => {
    writeFileSync(bench.path('WS', 'two words.suit'), '');
    expect(offered('fieldseal inspect two')).toEqual(['two words.suit']);
  });

  it.skipIf(!has('zsh'))('as a file that zsh loads by itself, answers the first Tab already', () => {
    mkdirSync(bench.path('WS', 'zsh'), { recursive: true });
    writeFileSync(bench.path('WS', 'zsh', '_fieldseal'), bench.ok('completion zsh').stdout);
    // In the place of zsh's own functions for completions of bash: what they are asked to do.
    const told = 'complete() { : }; _bash_complete() { print "completes by $*" }\n';
    writeFileSync(bench.path('WS', 'zsh', 'bashcompinit'), told);
    const script = 'fpath=($PWD/zsh $fpath); autoload -Uz _fieldseal; _fieldseal';
    const at = { cwd: bench.path('WS'), encoding: 'utf8' as const };
    expect(execFileSync('zsh', ['-fc', script], at)).toBe('completes by -o filenames -F _fieldseal\n');
  });

  it.skipIf(!has('fish'))('loads in fish and offers commands, options and choices', () => {
    writeFileSync(bench.path('WS', 'fieldseal.fish'), bench.ok('completion fish').stdout);
    const at = { cwd: bench.path('WS'), encoding: 'utf8' as const, env: { ...bench.environment } };
    const asked = (line: string) =>
      execFileSync('fish', ['-c', `source fieldseal.fish; complete -C '${line}'`], at)
        .split('\n')
        .map((row) => row.split('\t')[0])
        .filter(Boolean);
    expect(asked('fieldseal sea')).toEqual(['seal']);
    expect(asked('fieldseal class ')).toEqual(['add', 'check', 'list', 'show']);
    expect(asked('fieldseal class add x --scheme ')).toEqual(['asymmetric', 'symmetric']);
  });

  it.each(['zsh', 'fish'])('gives a script for %s', (shell) => {
    const script = bench.ok(`completion ${shell}`).stdout;
    expect(script).toContain('fieldseal');
    writeFileSync(bench.path('WS', 'completion'), script);
    if (has(shell)) expect(spawnSync(shell, ['-n', bench.path('WS', 'completion')]).status).toBe(0);
    bench.ok('completion tcsh', { status: 2 });
  });
});

describe.skipIf(!has('gcc'))('the header for a bootloader', () => {
  it.each(['vent', 'dosing'])(
    'of class %s compiles as C99 with warnings as errors, and its values read back',
    (name) => {
      writeFileSync(
        bench.path('WS', `${name}.c`),
        `#include <stdio.h>
#include "${name}.h"
int main(void) {
  for (unsigned i = 0; i < 16u; i++) printf("%02x", (unsigned)fieldseal_class_id_0[i]);
  printf(" %lu %lu %u %u\\n", (unsigned long)FIELDSEAL_SLOT_1_ADDRESS, (unsigned long)FIELDSEAL_SLOT_1_SIZE,
         FIELDSEAL_ANCHOR_COUNT, FIELDSEAL_MAC_KEY_COUNT);
  return 0;
}
`,
      );
      const at = { cwd: bench.path('WS'), encoding: 'utf8' as const };
      const strict = ['-std=c99', '-Wall', '-Wextra', '-pedantic', '-Werror', '-Wno-unused-const-variable'];
      execFileSync('gcc', [...strict, '-o', `${name}.exe`, `${name}.c`], at);
      const [id, address, size, anchors, macKeys] = execFileSync(bench.path('WS', `${name}.exe`), at)
        .trim()
        .split(' ');
      const shown = bench.ok(`class show ${name} --json`, WS).json;
      expect(id).toBe(shown.class_id.replace(/-/g, ''));
      expect([Number(address), Number(size)]).toEqual([
        shown.memory.slots[1].address,
        shown.memory.slots[1].size,
      ]);
      expect([Number(anchors), Number(macKeys)]).toEqual(name === 'vent' ? [1, 0] : [0, 1]);
      expect(readFileSync(bench.path('WS', `${name}.h`), 'utf8')).not.toMatch(/passphrase|PRIVATE/i);
    },
  );
});
