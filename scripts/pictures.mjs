// Draws docs/pictures from the real command at work in a temporary trial workspace: `node scripts/pictures.mjs`.
import { spawnSync } from 'node:child_process';
import { copyFileSync, mkdirSync, mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';

const COLUMNS = 118;
const LINE_PX = 18;
const CHARACTER_PX = 8.4;
const PAINT = {
  1: 'font-weight="bold"',
  2: 'fill="#5b6472"',
  31: 'fill="#a3232f"',
  32: 'fill="#1b6b3a"',
  33: 'fill="#7a5600"',
};
// The escape sequences of a terminal's colours (ECMA-48 section 8.3.117).
const ESCAPE = new RegExp(`${String.fromCharCode(27)}\\[([0-9;]*)m`);
const command = resolve('dist/fieldseal.js');
const folder = mkdtempSync(join(tmpdir(), 'fieldseal-pictures-'));

mkdirSync('docs/pictures', { recursive: true });
copyFileSync('demo/firmware/vent-1.4.0.hex', join(folder, 'vent-1.4.0.hex'));
for (const line of [
  'init greenhouse --vendor-domain hollinridge.example',
  'class add vent --model VC-2 --scheme asymmetric --workspace greenhouse',
  'root create --workspace greenhouse',
  'signer create line-1 --workspace greenhouse',
  'provision vent --serial 0001 --out vent-0001.unit --workspace greenhouse',
  'seal vent-1.4.0.hex --class vent --version 1.4.0 --out vent-1.4.0.suit --workspace greenhouse',
]) {
  run(line);
}
const forged = readFileSync(join(folder, 'vent-1.4.0.suit'));
forged[forged.length - 100] ^= 1;
writeFileSync(join(folder, 'forged.suit'), forged);
draw('check', 'check vent-1.4.0.suit --unit vent-0001.unit');
draw('refused', 'check forged.suit --unit vent-0001.unit', (lines) => lines.slice(-18));
draw('inspect', 'inspect vent-1.4.0.suit --depth 3', (lines) => lines.slice(0, 40));

function run(line) {
  // A pseudo-terminal, so that the colours of a terminal are in the picture.
  const shell = `node ${command} ${line}`;
  const ran = spawnSync('script', ['-qec', shell, '/dev/null'], {
    cwd: folder,
    env: { ...process.env, TERM: 'xterm', COLUMNS: String(COLUMNS), FIELDSEAL_PASSPHRASE: 'pictures only' },
    encoding: 'utf8',
  });
  if (ran.error) throw ran.error;
  return ran.stdout.replace(/\r/g, '').split('\n');
}

function draw(name, line, choose = (lines) => lines) {
  const lines = [`$ fieldseal ${line}`, ...choose(run(line).filter((text) => text !== ''))];
  const height = (lines.length + 2) * LINE_PX;
  const rows = lines.map((text, index) => row(text, (index + 2) * LINE_PX)).join('\n');
  const picture = `<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="fieldseal ${line}" width="${COLUMNS * CHARACTER_PX + 40}" height="${height}" font-family="ui-monospace, monospace" font-size="14">
<rect width="100%" height="100%" rx="6" fill="#f7f5ef"/>
${rows}
</svg>
`;
  writeFileSync(`docs/pictures/${name}.svg`, picture);
  console.log(`docs/pictures/${name}.svg`);
}

function row(text, y) {
  let paint = '';
  let shown = 0;
  const spans = text.split(ESCAPE).map((part, index) => {
    if (index % 2 === 1) {
      paint = PAINT[part] ?? '';
      return '';
    }
    const room = part.slice(0, Math.max(0, COLUMNS - shown));
    shown += part.length;
    return room === '' ? '' : `<tspan ${paint}>${escaped(room)}</tspan>`;
  });
  return `<text x="20" y="${y}" fill="#1d2430" xml:space="preserve">${spans.join('')}</text>`;
}

function escaped(text) {
  return text.replace(/&/g, '&amp;').replace(/</g, '&lt;').replace(/>/g, '&gt;');
}
