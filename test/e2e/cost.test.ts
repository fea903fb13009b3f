import { readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, test } from 'vitest';
import { Bench, cortexImage } from './command.ts';

interface Row {
  readonly variant: string;
  readonly basis: string;
  readonly size_bytes: number;
  readonly envelope_bytes: number;
  readonly hindrance: string | null;
  readonly frames: number;
  readonly minimum_battery_mwh: number;
  readonly money: number | null;
}

const bench = new Bench();
const at = '--workspace greenhouse';

beforeAll(() => {
  bench.ok('init greenhouse --vendor-domain hollinridge.example');
  bench.ok(`class add vent --model VC-2 --scheme asymmetric ${at}`);
  bench.ok(`root create ${at}`);
  bench.ok(`signer create line-1 ${at}`);
  bench.ok(`provision vent --serial 0001 --out vent-0001.unit ${at}`);
  const image = cortexImage(100 * 1024);
  for (let at = 1024; at < image.length; at += 4) image.writeUInt32LE((at * 2654435761) >>> 0, at);
  writeFileSync(bench.path('old.bin'), image);
  image.write('a fix', 50_000);
  writeFileSync(bench.path('new.bin'), image);
  bench.ok(`seal old.bin --class vent --version 1.4.0 --out old.suit ${at}`);
  bench.ok(`seal new.bin --class vent --version 1.5.0 --out new.suit ${at}`);
});

function rows(line: string, link = 0): Row[] {
  return bench.ok(`cost ${line} --json ${at}`).json.links[link].variants;
}

describe('fieldseal cost', () => {
  test('full image and delta, in clear and encrypted, side by side over every link of the class', () => {
    const { json } = bench.ok(`cost new.suit --class vent --json ${at}`);
    expect(json).toMatchObject({ format: 'fieldseal.cost/1', trial: true, class: 'vent', units: 1 });
    expect(json.links.length).toBeGreaterThan(10);
    for (const { variants } of json.links)
      expect(variants.map(({ variant }: Row) => variant)).toEqual([
        'full',
        'full, encrypted',
        'delta',
        'delta, encrypted',
      ]);
    const full = json.links[0].variants[0] as Row;
    expect(full).toMatchObject({ basis: 'sealed', size_bytes: readFileSync(bench.path('new.suit')).length });
  });

  test('with the release that units run the delta is made and measured; without, it is an estimate and says so', () => {
    const [full, , measured] = rows('new.suit --class vent --from old.suit --link lorawan-eu-dr0');
    expect(measured!.basis).toBe('made');
    expect(measured!.size_bytes).toBeLessThan(full!.envelope_bytes + 300);
    const [, , estimated] = rows('new.suit --class vent --link lorawan-eu-dr0');
    expect(estimated!.basis).toBe('estimated');
    expect(estimated!.size_bytes).toBe(full!.envelope_bytes + 60 + Math.ceil(0.3 * 100 * 1024));
    expect(bench.ok(`cost new.suit --class vent ${at}`).stdout).toContain('~ the delta is estimated');
  });

  test('what encryption adds is what sealing adds, to the byte', () => {
    bench.ok('init tight --vendor-domain hollinridge.example');
    bench.ok('class add vent --model VC-2 --scheme asymmetric --workspace tight');
    bench.ok('root create --workspace tight');
    bench.ok('signer create line-1 --workspace tight');
    bench.ok('seal new.bin --class vent --version 1.5.0 --out clear.suit --workspace tight');
    const file = bench.path('tight', 'classes', 'vent.yaml');
    writeFileSync(
      file,
      readFileSync(file, 'utf8').replace('confidentiality: none', 'confidentiality: image'),
    );
    for (const serial of ['0001', '0002', '0003'])
      bench.ok(`provision vent --serial ${serial} --out tight-${serial}.unit --workspace tight`);
    bench.ok('seal new.bin --class vent --version 1.5.0 --out secret.suit --workspace tight');
    const size = readFileSync(bench.path('secret.suit')).length;
    const from = (name: string) =>
      bench.ok(`cost ${name} --class vent --units 3 --link nb-iot --json --workspace tight`).json.links[0]
        .variants as Row[];
    const [clear, encrypted] = from('clear.suit');
    const [clearAgain, sealedSo] = from('secret.suit');
    expect(sealedSo).toMatchObject({ basis: 'sealed', size_bytes: size });
    expect(encrypted!.size_bytes).toBe(size);
    expect(clearAgain!.size_bytes).toBe(clear!.size_bytes);
  });

  test('of a payload by delta, the delta is what is inside, and the whole image lies beside it', () => {
    const file = bench.path('greenhouse', 'classes', 'vent.yaml');
    const before = readFileSync(file, 'utf8');
    writeFileSync(file, before.replace('# delta_window: 8KiB', 'delta_window: 8KiB'));
    bench.ok(`seal new.bin --class vent --version 1.5.1 --delta-from old.suit --out thin.suit ${at}`);
    writeFileSync(file, before);
    const [full, , delta] = rows('thin.suit --class vent --link nb-iot');
    const size = readFileSync(bench.path('thin.suit')).length;
    expect(delta).toMatchObject({ basis: 'sealed', size_bytes: size });
    expect(full).toMatchObject({ basis: 'computed', size_bytes: full!.envelope_bytes + 100 * 1024 });
  });

  test('more recipients than a payload carries are told, not computed away', () => {
    const [, encrypted] = rows('new.suit --class vent --units 100000 --link nb-iot');
    expect(encrypted!.hindrance).toContain('100000 recipients; a payload carries at most 2048');
    const told = bench.ok(`cost new.suit --class vent --units 100000 --link nb-iot ${at}`);
    expect(told.stdout).toContain('not possible');
    expect(told.stderr).toContain('send to cohorts instead');
  });

  test('figures.yaml of the workspace replaces figures, and the class names its links', () => {
    writeFileSync(
      bench.path('greenhouse', 'figures.yaml'),
      'format: fieldseal.figures/1\nlinks:\n  ridge: { like: nb-iot, tariff: { value: 0.5, source: "contract of March" } }\n',
    );
    const file = bench.path('greenhouse', 'classes', 'vent.yaml');
    const before = readFileSync(file, 'utf8');
    writeFileSync(file, before.replace('# links: [lorawan-eu-dr0, nb-iot]', 'links: [ridge]'));
    const { json } = bench.ok(`cost new.suit --class vent --units 2 --json ${at}`);
    expect(json.links).toHaveLength(1);
    const full = json.links[0].variants[0] as Row;
    expect(full.money).toBeCloseTo((2 * full.size_bytes * 0.5) / 2 ** 20, 9);
    expect(json.figures.links[0].figures.tariff).toEqual({
      value: 0.5,
      unit: '/MiB',
      source: 'entered',
      origin: 'contract of March',
    });
    writeFileSync(file, before);
  });

  test('what cannot be read is told with the next move', () => {
    const notOne = bench.run(`cost new.bin --class vent ${at}`);
    expect(notOne.status).toBe(2);
    expect(notOne.stderr).toContain('no envelope that can be read');
    const noLink = bench.run(`cost new.suit --class vent --link pigeon ${at}`);
    expect(noLink.status).toBe(2);
    expect(noLink.stderr).toContain('no link is called pigeon');
    expect(bench.run(`cost new.suit --class vent --units 0 ${at}`).status).toBe(2);
  });
});

describe('fieldseal figures', () => {
  test('shows each figure with its source, and writes a file to begin from once', () => {
    const shown = bench.ok(`figures --link lorawan-eu-dr0 ${at}`);
    expect(shown.stdout).toMatch(/duty_cycle +0\.1 +from memory: EN 300 220/);
    bench.ok(`figures --link nb-iot --out mine.yaml ${at}`);
    bench.ok(`figures --figures mine.yaml --json ${at}`);
    expect(bench.run(`figures --out mine.yaml ${at}`).status).toBe(2);
  });
});
