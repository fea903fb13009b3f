/** What the device kit takes on a Cortex-M3: code and constants, the caller's device, and the deepest stack by the call graph. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const SOURCES = 'device/src';
const FLAGS = ['-std=c99', '-mcpu=cortex-m3', '-mthumb', '-Os', '-ffunction-sections', '-Idevice/include'];
/** Bytes; crypto and ports are not among them. */
export interface Budgets {
  readonly code: number;
  readonly staticData: number;
  readonly device: number;
  /** Deepest stack of each call, what nests counted once, without what a port uses. */
  readonly stack: Readonly<Record<string, number>>;
}

/** Builds the kit into a folder of its own and measures it. */
export function measure(calls: readonly string[]): Budgets {
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-budgets-'));
  try {
    const names = readdirSync(SOURCES).filter((name) => name.endsWith('.c'));
    for (const name of names) compile(join(SOURCES, name), join(folder, `${name}.o`));
    const sizes = sizesOf(names.map((name) => join(folder, `${name}.o`)));
    const graph = graphOf(names.map((name) => readFileSync(join(folder, `${name}.ci`), 'utf8')));
    return {
      ...sizes,
      device: deviceSize(folder),
      stack: Object.fromEntries(calls.map((call) => [call, deepest(graph, call, new Set())])),
    };
  } finally {
    rmSync(folder, { recursive: true });
  }
}

function compile(source: string, object: string): void {
  execFileSync('arm-none-eabi-gcc', [...FLAGS, '-fcallgraph-info=su', '-c', source, '-o', object]);
}

function sizesOf(objects: readonly string[]): { code: number; staticData: number } {
  const rows = execFileSync('arm-none-eabi-size', [...objects], { encoding: 'utf8' })
    .trim()
    .split('\n')
    .slice(1);
  const columns = rows.map((row) => row.trim().split(/\s+/).slice(0, 3).map(Number));
  const sum = (column: number) => columns.reduce((total, row) => total + row[column]!, 0);
  return { code: sum(0), staticData: sum(1) + sum(2) };
}

function deviceSize(folder: string): number {
  const [source, object] = [join(folder, 'device.c'), join(folder, 'device.c.o')];
  writeFileSync(source, '#include "fieldseal/kit.h"\nfs_device device;\n');
  compile(source, object);
  const [, size] = /^\w+ (\w+) B device$/m.exec(
    execFileSync('arm-none-eabi-nm', ['-S', object], { encoding: 'utf8' }),
  )!;
  return Number.parseInt(size!, 16);
}

interface Node {
  readonly frame: number;
  readonly calls: Set<string>;
}

/** gcc writes one node for each function with its frame, and one edge for each call. */
function graphOf(files: readonly string[]): ReadonlyMap<string, Node> {
  const graph = new Map<string, Node>();
  for (const [, title, frame] of files
    .join('')
    .matchAll(/title: "([^"]+)" label: "[^"]*\\n(\d+) bytes \(static/g))
    graph.set(title!, { frame: Number(frame), calls: new Set() });
  for (const [, from, to] of files.join('').matchAll(/sourcename: "([^"]+)" targetname: "([^"]+)"/g))
    graph.get(from!)?.calls.add(to!);
  return graph;
}

function deepest(graph: ReadonlyMap<string, Node>, title: string, above: ReadonlySet<string>): number {
  const node = graph.get(title);
  if (!node || above.has(title)) return 0;
  const path = new Set([...above, title]);
  const below = [...node.calls].map((call) => deepest(graph, call, path));
  return node.frame + Math.max(0, ...below);
}
