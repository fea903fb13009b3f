/** Parser fuzzing as tasks: one for each target, beginning from its seeds and its kept corpus. */
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { toHex } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { Random } from './random.ts';
import type { Target } from './target.ts';
import { TARGETS } from './targets.ts';
import type { Fuzzer } from './task.ts';

/** Kept inputs stay small, and few enough to be run with every test. */
const LARGEST_KEPT = 1024;
const MOST_KEPT = 32;

/** The inputs of a target's folder below `corpus`; none where there is no folder. */
export function corpusOf(corpus: string, name: string): readonly (readonly [string, Uint8Array])[] {
  const folder = join(corpus, name);
  return filesIn(folder).map((file) => [file, new Uint8Array(readFileSync(join(folder, file)))] as const);
}

function filesIn(folder: string): string[] {
  try {
    return readdirSync(folder).sort();
  } catch {
    return [];
  }
}

interface Pool {
  readonly target: Target;
  readonly seeds: readonly Uint8Array[];
  /** The seeds, and what was kept: most of that is refused, so half of the cases begin from a sound input. */
  readonly inputs: readonly Uint8Array[];
  /** Kinds of ends that a kept input already has. */
  readonly known: Set<string>;
  kept: number;
}

/** All targets as a fuzzer. `keep`: write inputs with a new kind of end to the corpus. */
export async function targetFuzzer(corpus: string, keep: boolean): Promise<Fuzzer> {
  const pools = new Map<string, Pool>();
  for (const target of TARGETS) pools.set(target.name, await poolOf(target, corpus));
  const inputOf = (name: string, seed: number, number: number) => {
    const random = new Random(seed, name, number);
    const { target, seeds, inputs } = pools.get(name)!;
    const input = random.pick(random.chance(0.5) ? seeds : inputs);
    return target.mutate(random, input, random.pick(inputs));
  };
  return {
    names: TARGETS.map(({ name }) => name),
    run(name, seed, number) {
      const input = inputOf(name, seed, number);
      const pool = pools.get(name)!;
      const end = pool.target.read(input);
      if (keep) keepNew(pool, corpus, input, end);
      return end;
    },
    kept(name, seed, number) {
      const content = inputOf(name, seed, number);
      return { path: `${name}/regression-${nameOf(content)}`, content };
    },
  };
}

async function poolOf(target: Target, corpus: string): Promise<Pool> {
  const kept = corpusOf(corpus, target.name).map(([, input]) => input);
  const seeds = await target.seeds();
  const inputs = [...seeds, ...kept];
  return {
    target,
    seeds,
    inputs,
    known: new Set(inputs.map((input) => target.read(input))),
    kept: kept.length,
  };
}

function keepNew(pool: Pool, corpus: string, input: Uint8Array, end: string): void {
  if (pool.kept >= MOST_KEPT || input.length > LARGEST_KEPT || pool.known.has(end)) return;
  pool.known.add(end);
  pool.kept++;
  const folder = join(corpus, pool.target.name);
  mkdirSync(folder, { recursive: true });
  writeFileSync(join(folder, nameOf(input)), input);
}

const nameOf = (input: Uint8Array): string => toHex(sha256(input)).slice(0, 16);
