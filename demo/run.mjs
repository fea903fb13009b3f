// Hollin Ridge, an invented maker of greenhouse controllers, does the whole job once: the vent controller VC-2 under
// the asymmetric scheme, the nutrient dosing controller DC-1 under the symmetric one. Everything below is the real
// command at work in a temporary folder; every forgery is made by changing real bytes.
import { spawn, spawnSync } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { copyFileSync, mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const COMMAND = fileURLToPath(new URL('../dist/fieldseal.js', import.meta.url));
const FIRMWARE = fileURLToPath(new URL('firmware/', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'hollin-ridge-'));
// A passphrase of the environment serves too: then sealing at the desk asks for one that you know.
const passphrase = process.env.FIELDSEAL_PASSPHRASE || randomBytes(12).toString('hex');
const environment = { ...process.env, FIELDSEAL_PASSPHRASE: passphrase };
const colour = process.stdout.isTTY && !process.env.NO_COLOR;
const bold = (text) => (colour ? `\u001b[1m${text}\u001b[22m` : text);
const dim = (text) => (colour ? `\u001b[2m${text}\u001b[22m` : text);
let surprises = 0;

for (const name of ['vent-1.4.0.hex', 'vent-1.5.0.hex', 'dosing-2.1.0.srec']) {
  copyFileSync(join(FIRMWARE, name), join(folder, name));
}

chapter('Hollin Ridge sets up: a workspace, two device classes, a root authority, a signer, a class key');
run('init greenhouse --vendor-domain hollinridge.example');
const at = '--workspace greenhouse';
run(`class add vent --model VC-2 --scheme asymmetric ${at}`);
run(`class add dosing --model DC-1 --scheme symmetric ${at}`);
edit('greenhouse/classes/vent.yaml', 'RAM for updates by delta, and the link they go over', {
  '# delta_window: 8KiB': 'delta_window: 8KiB',
  '# links: [lorawan-eu-dr0, nb-iot]': 'links: [lorawan-eu-dr0]',
});
run(`class check vent ${at}`);
run(`root create ${at}`, '--person', 'Ada Brook, custodian', '--person', 'Tom Hale, witness');
run(`signer create line-1 ${at}`);
run(`class-key create dosing ${at}`);

chapter(
  'The production line provisions two units: anchor written, locked, and the lock proved by a failed overwrite',
);
run(`provision vent --serial 0001 --out vent-0001.unit ${at}`);
run(`provision dosing --serial 0001 --out dosing-0001.unit ${at}`);

chapter('A release for the vent controller: signed');
run(`seal vent-1.4.0.hex --class vent --version 1.4.0 --out vent-1.4.0.suit ${at}`);
run('check vent-1.4.0.suit --unit vent-0001.unit');

chapter('Before it is broadcast: every forgery of it is made, and has to be refused');
rehearse(`rehearse vent-1.4.0.suit --unit vent-0001.unit --out vent-1.4.0.rehearsal.json ${at}`);

chapter('The unit installs it, starts it on trial, and keeps it');
run('install vent-1.4.0.suit --unit vent-0001.unit');
run('boot vent-0001.unit');
run('keep vent-0001.unit');

chapter('A release for the dosing controller: under the class key');
run(`seal dosing-2.1.0.srec --class dosing --version 2.1.0 --out dosing-2.1.0.suit ${at}`);
run('install dosing-2.1.0.suit --unit dosing-0001.unit');
run('boot dosing-0001.unit');
run('keep dosing-0001.unit');

chapter('An update, with the power cut in the middle of programming');
run(`seal vent-1.5.0.hex --class vent --version 1.5.0 --out vent-1.5.0.suit ${at}`);
expect(3, 'install vent-1.5.0.suit --unit vent-0001.unit --cut-after 70');
run('boot vent-0001.unit');
run('install vent-1.5.0.suit --unit vent-0001.unit');
run('boot vent-0001.unit');
run('keep vent-0001.unit');

chapter(
  'Is it still what was sealed? A unit is asked, answers, and is believed; then somebody writes to its flash',
);
run(`challenge vent 0001 --out first.challenge ${at}`);
run('answer vent-0001.unit --challenge first.challenge --out first.eat');
run(`appraise first.eat --envelope vent-1.5.0.suit ${at}`);
refused('the same answer sent again', `appraise first.eat --envelope vent-1.5.0.suit ${at}`);
console.log(
  `\n${dim('# one bit of the running code is changed in the flash (of a copy of the unit, so that the story goes on)')}`,
);
copyFileSync(join(folder, 'vent-0001.unit'), join(folder, 'tampered.unit'));
patchRunningCode('tampered.unit');
run(`challenge vent 0001 --out second.challenge ${at}`);
run('answer tampered.unit --challenge second.challenge --out second.eat');
refused(
  'the unit still answers, with what it measures now',
  `appraise second.eat --envelope vent-1.5.0.suit ${at}`,
);
run('boot tampered.unit');
run('unit boots tampered.unit');

chapter('Over a thin link: another unit still runs 1.4.0, and is sent only what changed since');
quiet(`provision vent --serial 0002 --out vent-0002.unit ${at}`);
for (const step of ['install vent-1.4.0.suit --unit', 'boot', 'keep']) quiet(`${step} vent-0002.unit`);
run(
  `seal vent-1.5.0.hex --class vent --version 1.5.0 --delta-from vent-1.4.0.suit --out vent-1.5.0-delta.suit ${at}`,
);
run('install vent-1.5.0-delta.suit --unit vent-0002.unit');
run('boot vent-0002.unit');
run('keep vent-0002.unit');
refused('a unit that runs something else', 'check vent-1.5.0-delta.suit --unit vent-0001.unit');

chapter('Forgeries: each is refused, at its step and with its reason, and nothing is programmed');
forge('one bit of the image changed', 'image-bit.suit', 'vent-1.5.0.suit', (bytes) =>
  flip(bytes, bytes.length - 100),
);
forge('one bit of the manifest changed', 'manifest-bit.suit', 'vent-1.5.0.suit', (bytes) =>
  flip(bytes, bytes.indexOf(Buffer.from('#image')) - 4),
);
forge('cut short on the way', 'cut.suit', 'vent-1.5.0.suit', (bytes) => bytes.subarray(0, bytes.length - 1));
refused('the older release sent again', 'check vent-1.4.0.suit --unit vent-0001.unit');
refused('firmware of the other class', 'check dosing-2.1.0.suit --unit vent-0001.unit');
quiet('init impostor --vendor-domain hollinridge.example');
quiet('class add vent --model VC-2 --scheme asymmetric --workspace impostor');
quiet('root create --workspace impostor');
quiet('signer create line-1 --workspace impostor');
quiet(
  'seal vent-1.5.0.hex --class vent --version 9.9.9 --sequence 900 --allow-jump --out foreign.suit --workspace impostor',
);
refused('perfect in every way, but under a root of the forger', 'check foreign.suit --unit vent-0001.unit');
quiet('class add dosing --model DC-1 --scheme symmetric --workspace impostor');
quiet('class-key create dosing --workspace impostor');
quiet(
  'seal dosing-2.1.0.srec --class dosing --version 9.9.9 --sequence 900 --allow-jump --out guess.suit --workspace impostor',
);
refused('a MAC under a guessed class key', 'check guess.suit --unit dosing-0001.unit');

chapter(
  'Before the new release goes out: every unit of the fleet is asked, and what it costs over a thin link',
);
writeFileSync(
  join(folder, 'fleet.csv'),
  ['serial,class,version,battery_mwh,link', ...fleet(1200)].join('\n'),
);
run(`rehearse vent-1.5.0.suit --units fleet.csv ${at}`);
run(`cost vent-1.5.0.suit --class vent --link lorawan-eu-dr0 --units 1200 --from vent-1.4.0.suit ${at}`);

chapter('Two people: one asks, another one reads what is asked and allows it, and only that is sealed');
edit('greenhouse/classes/dosing.yaml', 'a second person from now on', { '# approvals: 1': 'approvals: 1' });
run(`approver create ada ${at}`, '--person', 'Ada Brook');
run(`approver create bela ${at}`, '--person', 'Bela Marsh');
run(`request make dosing-2.1.0.srec --class dosing --version 2.1.0 --requester ada ${at}`);
refused('nobody approves what they asked for', `approve dosing/2 --approver ada ${at}`);
run(`approve dosing/2 --approver bela ${at}`);
run(`seal dosing-2.1.0.srec --request dosing/2 --out dosing-2.1.0-b.suit ${at}`);

chapter('For the auditor: one page of evidence, which says what is not shown too');
run(
  `evidence vent/1 --envelope vent-1.4.0.suit --rehearsal vent-1.4.0.rehearsal.json --out vent-1.4.0.html ${at}`,
);

chapter('The record of all this');
run(`ledger check ${at}`);
run(`ledger list ${at}`);

console.log(`\nEverything lies in ${folder}`);
console.log('Next: README.md, "With your own firmware".');
if (surprises > 0) {
  console.log(`${surprises} of these commands did not end as they should.`);
  process.exitCode = 1;
}

chapter('The same at the desk, in a browser');
copyFileSync(join(folder, 'vent-0001.unit'), join(folder, 'greenhouse', 'vent-0001.unit'));
await openDesk();

/** At a terminal the desk stays open until Ctrl-C; elsewhere it is shown that it opens and asks who is there. */
async function openDesk() {
  const terminal = process.stdin.isTTY && process.stdout.isTTY;
  const words = ['serve', '--workspace', 'greenhouse', ...(terminal ? [] : ['--json'])];
  console.log(`\n${dim('$')} ${bold(`fieldseal ${words.join(' ')}`)}`);
  const desk = spawn(process.execPath, [COMMAND, ...words], {
    cwd: folder,
    env: environment,
    stdio: terminal ? 'inherit' : ['ignore', 'pipe', 'inherit'],
  });
  const ended = new Promise((resolve) => desk.once('exit', resolve));
  if (!terminal) {
    const origin = await originOf(desk);
    const { status } = await fetch(`${origin}/api/v1/standing`);
    console.log(`the desk answers at ${origin}; without its link it says ${status}, and lets nobody in`);
    if (status !== 401) process.exitCode = 1;
    desk.kill('SIGTERM');
  }
  await ended;
}

async function originOf(desk) {
  let told = '';
  for await (const piece of desk.stdout) {
    told += piece;
    if (told.trimEnd().endsWith('}')) return JSON.parse(told).origin;
  }
  throw new Error(`the desk did not open: ${told}`);
}

/** Vents in the field, invented: all on the release before. */
function fleet(units) {
  return Array.from({ length: units }, (_, i) => {
    const serial = String(i + 1).padStart(4, '0');
    return `${serial},vent,1.4.0,${2000 + ((i * 37) % 6000)},lorawan-eu-dr0`;
  });
}

function chapter(title) {
  console.log(`\n${bold(`== ${title}`)}`);
}

function run(line, ...more) {
  expect(0, line, ...more);
}

/** The table is long: the demo shows what it says at the beginning and at the end. */
function rehearse(line) {
  console.log(`\n${dim('$')} ${bold(`fieldseal ${line}`)}`);
  const result = call(line.split(' '));
  const lines = result.stdout.trimEnd().split('\n');
  const shown = [...lines.slice(0, 12), `  ... ${lines.length - 20} more lines`, ...lines.slice(-8)];
  report(0, { ...result, stdout: `${shown.join('\n')}\n` });
}

function expect(status, line, ...more) {
  console.log(
    `\n${dim('$')} ${bold(`fieldseal ${line}${more.map((word) => ` ${word.includes(' ') ? `"${word}"` : word}`).join('')}`)}`,
  );
  report(status, call([...line.split(' '), ...more]));
}

function refused(title, line) {
  console.log(`\n${dim(`# ${title}`)}`);
  expect(1, line);
}

function forge(title, name, from, change) {
  writeFileSync(join(folder, name), change(readFileSync(join(folder, from))));
  refused(title, `check ${name} --unit vent-0001.unit`);
}

function edit(path, about, changes) {
  console.log(`\n${dim(`# ${path}: ${about}`)}`);
  const file = join(folder, path);
  let text = readFileSync(file, 'utf8');
  for (const [from, to] of Object.entries(changes)) text = text.replace(from, to);
  writeFileSync(file, text);
}

function patchRunningCode(name) {
  const { running, regions } = JSON.parse(call(['unit', 'show', name, '--json']).stdout);
  const { offset } = regions.find((each) => each.name === `slot ${running}`);
  const path = join(folder, name);
  // The image has 568 bytes; what lies behind it is erased flash and no code.
  writeFileSync(path, flip(readFileSync(path), offset + 300));
}

function quiet(line) {
  const result = call(line.split(' '));
  if (result.status !== 0) report(0, result);
}

function call(words) {
  return spawnSync(process.execPath, [COMMAND, ...words], {
    cwd: folder,
    env: environment,
    encoding: 'utf8',
  });
}

function report(status, result) {
  process.stdout.write(result.stdout);
  process.stdout.write(result.stderr);
  if (result.status === status) return;
  surprises += 1;
  console.log(`!! ended with status ${result.status}, expected ${status}`);
}

function flip(bytes, offset) {
  const changed = Buffer.from(bytes);
  changed[offset] ^= 1;
  return changed;
}
