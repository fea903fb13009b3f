import { createReadStream } from 'node:fs';
import { toHex } from '../../../bytes/index.ts';
import { startSha256 } from '../../../crypto/index.ts';
import { fileSource } from '../../../workspace/index.ts';
import type { Columns } from './columns.ts';
import { csvUnits } from './csv.ts';
import type { UnitSource } from './facts.ts';
import { jsonUnits } from './json.ts';

/** An inventory file: its units, and what is known of it once they were read. */
export interface Inventory {
  readonly units: UnitSource;
  readonly sizeBytes: number;
  /** SHA-256 of what was read, lower-case hexadecimal. */
  sha256(): string;
  /** Columns that nothing was read from. */
  readonly unused: readonly string[];
  tellUnused(names: readonly string[]): void;
}

const PIECE = 1 << 18;

/** Opens an inventory: JSON where its name ends in .json, .jsonl or .ndjson, else CSV. Its units can be read once. */
export function openInventory(
  path: string,
  columns: Columns,
  progress: (doneBytes: number, totalBytes: number) => void = () => {},
): Inventory {
  const file = fileSource(path);
  const { size } = file;
  file.close();
  const hash = startSha256();
  async function* pieces(): AsyncGenerator<Uint8Array> {
    let done = 0;
    for await (const piece of createReadStream(path, { highWaterMark: PIECE })) {
      hash.update(piece);
      done += piece.length;
      progress(done, size);
      yield piece;
    }
  }
  let unused: readonly string[] = [];
  const inventory = {
    tellUnused(names: readonly string[]) {
      unused = names;
    },
  };
  const read = /\.(?:json|jsonl|ndjson)$/i.test(path) ? jsonUnits : csvUnits;
  return {
    ...inventory,
    units: read(pieces(), columns, inventory),
    sizeBytes: size,
    sha256: () => toHex(hash.digest()),
    get unused() {
      return unused;
    },
  };
}
