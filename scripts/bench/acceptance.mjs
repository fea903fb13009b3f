// A payload asked of a million units: the real check once for each of 5,000 groups, as an inventory tells them.
import { closeSync, openSync, readFileSync, writeSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { sealedRelease } from './checking.mjs';
import { FIELDSEAL, MIB } from './folder.mjs';
import { runCommand } from './rounds.mjs';

const UNITS = 1_000_000;
const FEWER = 100_000;
const GROUPS = 5_000;
const MOST_SECONDS = 60;
const PEAK_MEMORY = fileURLToPath(new URL('peak-memory.mjs', import.meta.url));
const FACTS =
  'serial,class,hardware_revision,clock,running_slot,sequence_number,manifest_digest,security_version,anchors,battery_mwh,link,note';

export function benchAcceptance(report, folder) {
  report.part(`Acceptance of a 256 KiB payload by ${UNITS} units in ${GROUPS} groups, from CSV`);
  const { envelope } = sealedRelease(folder);
  const many = rehearse(folder, envelope, UNITS);
  const fewer = rehearse(folder, envelope, FEWER);
  const { seconds, processor, megabytes } = many;
  // On one thread: a machine with two idle processors takes no longer.
  const detail = `${seconds.toFixed(1)} s by the clock; ${(UNITS / processor).toFixed(0)} units a second`;
  report.bound('processor time', processor, MOST_SECONDS, detail, { unit: ' s' });
  report.bound(
    'most memory, ratio',
    megabytes / fewer.megabytes,
    1.5,
    `${megabytes.toFixed(0)} MB against ${fewer.megabytes.toFixed(0)} MB for ${FEWER} units in as many groups`,
  );
}

/** Asks that many units; all of them accept, or the bench ends. Seconds, and MB of 10^6 bytes. */
function rehearse(folder, envelope, units) {
  const peakFile = folder.file('peak');
  const inventory = writeInventory(folder, units);
  const [node, ...rest] = [...FIELDSEAL, 'rehearse', envelope, '--units', inventory, '--json'];
  const env = { ...folder.env, BENCH_PEAK_FILE: peakFile };
  const begin = performance.now();
  const before = childSeconds();
  const printed = runCommand([node, '--import', PEAK_MEMORY, ...rest], { cwd: folder.workspace, env });
  const seconds = (performance.now() - begin) / 1000;
  const { counts } = JSON.parse(printed);
  if (counts.accepted !== units || counts.groups !== GROUPS)
    throw new Error(`asked ${units} units in ${GROUPS} groups, and heard ${JSON.stringify(counts)}`);
  folder.remove('fleet.csv');
  return {
    seconds,
    processor: childSeconds() - before,
    megabytes: (Number(readFileSync(peakFile, 'utf8')) * 1024) / 1e6,
  };
}

/** Processor time of children that have ended, in seconds: fields 16 and 17 of proc(5) stat, in ticks of 10 ms. */
function childSeconds() {
  const fields = readFileSync('/proc/self/stat', 'utf8')
    .replace(/^.*\) /, '')
    .split(' ');
  return (Number(fields[13]) + Number(fields[14])) / 100;
}

/** Units of an invented fleet: they differ in what the check compares, and in much that it does not. */
function writeInventory(folder, units) {
  const path = folder.file('fleet.csv');
  const handle = openSync(path, 'w');
  const digest = '44'.repeat(32);
  let text = `${FACTS}\n`;
  for (let i = 0; i < units; i++) {
    const group = i % GROUPS;
    const [clock, slot] = [group % 2 === 0 ? 'yes' : 'no', (group >> 1) % 2 === 0 ? 'A' : 'B'];
    text += `${String(i).padStart(7, '0')},vent,R${group >> 2},${clock},${slot},0,${digest},0,root,${i % 9000},nb-iot,row ${i}\n`;
    if (text.length < MIB) continue;
    writeSync(handle, text);
    text = '';
  }
  writeSync(handle, text);
  closeSync(handle);
  return path;
}
