import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Desk } from './processes.ts';

/** A release of the trial. */
export interface TrialRelease {
  readonly version: string;
  readonly image: Buffer;
  /** Path of its envelope. */
  readonly envelope: string;
}

/** A workspace with units in the field, all of them running the first release. */
export interface Field {
  readonly desk: Desk;
  readonly releases: readonly TrialRelease[];
  /** One folder of unit files for each agent process. */
  readonly folders: readonly string[];
  readonly serials: readonly string[];
  /** Where the units of another maker said something. */
  readonly foreign: readonly Buffer[];
}

const CLASS = 'vent';
const VERSIONS = ['1.4.0', '1.5.0', '1.6.0'];
/** A small part, so that ten thousand of it fit: two slots of 8 KiB. */
const SMALL_MEMORY: readonly (readonly [RegExp, string])[] = [
  [/size: 256KiB/g, 'size: 8KiB'],
  [/0x08040000/, '0x08002000'],
  [/envelopes: \{[^}]*\}/, 'envelopes: { address: 0x08004000, size: 4KiB }'],
  [/state: \{[^}]*\}/, 'state: { address: 0x08005000, size: 4KiB }'],
  [/policy: \{[^}]*\}/, 'policy: { address: 0x08006000, size: 6KiB }'],
  [/boot_log: \{[^}]*\}/, 'boot_log: { address: 0x08008000, size: 2KiB }'],
  [/erase_page: 4KiB/, 'erase_page: 1KiB'],
  [/endurance: 10000/, 'endurance: 100000'],
];

/** Makes the workspace, seals the releases, and provisions `units` units, a batch for each of `workers` folders. */
export async function makeField(folder: string, units: number, workers: number): Promise<Field> {
  const desk = makeWorkspace(join(folder, 'WS'), 'hollinridge.example');
  const releases = VERSIONS.map((version, i) => seal(desk, version, i));
  const serials = Array.from({ length: units }, (_, i) => String(i + 1).padStart(6, '0'));
  const batches = Array.from({ length: workers }, (_, i) => ({
    name: `part-${i}`,
    serials: serials.filter((_, nth) => nth % workers === i),
  }));
  await provision(desk, batches, releases[0]!.envelope);
  const folders = batches.map(({ name }) => join(desk.folder, 'units', name));
  return { desk, releases, folders, serials, foreign: await foreignReports(folder) };
}

function makeWorkspace(folder: string, domain: string): Desk {
  mkdirSync(folder, { recursive: true });
  const desk = new Desk(folder);
  desk.json('init', '.', '--vendor-domain', domain);
  desk.json('class', 'add', CLASS, '--model', 'VC-2', '--scheme', 'asymmetric');
  const path = join(folder, 'classes', `${CLASS}.yaml`);
  writeFileSync(
    path,
    SMALL_MEMORY.reduce((text, [from, to]) => text.replace(from, to), readFileSync(path, 'utf8')),
  );
  desk.json('root', 'create');
  desk.json('signer', 'create', 'line-1', '--class', CLASS);
  desk.json('signer', 'create', 'ann-1', '--purpose', 'announcement', '--class', CLASS);
  return desk;
}

function seal(desk: Desk, version: string, nth: number): TrialRelease {
  const image = Buffer.alloc(3000 + 500 * nth, 0x5a + nth);
  image.writeUInt32LE(0x2000_4000, 0);
  image.writeUInt32LE(0x0800_0101, 4);
  const [file, envelope] = [join(desk.folder, `${version}.bin`), join(desk.folder, `${version}.suit`)];
  writeFileSync(file, image);
  desk.json('seal', file, '--class', CLASS, '--version', version, '--out', envelope);
  return { version, image, envelope };
}

interface Batch {
  readonly name: string;
  readonly serials: readonly string[];
}

/** Jobs, then all stations at once, then their results one after the other. */
async function provision(desk: Desk, batches: readonly Batch[], first: string): Promise<void> {
  const file = (name: string, ending: string) => join(desk.folder, `${name}.${ending}`);
  for (const { name, serials } of batches) {
    writeFileSync(file(name, 'txt'), `${serials.join('\n')}\n`);
    const out = ['--out', file(name, 'job')];
    desk.json('batch', 'issue', CLASS, '--serials', file(name, 'txt'), '--first', first, ...out);
  }
  const stations = batches.map(({ name }) => {
    const words = ['--units', join('units', name), '--out', file(name, 'result')];
    return desk.start(file(name, 'log'), ['batch', 'run', file(name, 'job'), '--first', first, ...words]);
  });
  for (const station of stations) await station.says(/units made in/);
  for (const station of stations) await station.over;
  for (const { name } of batches) desk.json('batch', 'accept', file(name, 'result'));
}

/** What units of another maker report, which nobody here has on record. */
async function foreignReports(folder: string): Promise<Buffer[]> {
  const desk = makeWorkspace(join(folder, 'OTHER'), 'tallow.example');
  const { envelope } = seal(desk, '1.4.0', 0);
  await provision(desk, [{ name: 'part-0', serials: ['000001'] }], envelope);
  const unit = join('units', 'part-0', `${CLASS}-000001.unit`);
  return ['one', 'two'].map((name) => {
    desk.json('report', 'make', unit, '--out', name);
    return readFileSync(join(desk.folder, name));
  });
}
