/** Trees of an HSS/LMS key, kept beside its key file so that signing need not grow them anew. They hold no secret. */
import { readFileSync, statSync } from 'node:fs';
import type { TreeStore } from '../../crypto/index.ts';
import { replaceFile } from '../files.ts';

// The tallest tree that is made has 2^21 nodes of 32 bytes, and a tag.
const LARGEST_TREE = (1 << 26) + 32;

/** Keeps one tree a level: NAME.tree-0, NAME.tree-1, ... beside NAME.pem. One that is missing or damaged is grown anew. */
export function treeFiles(keyPath: string): TreeStore {
  const pathOf = (level: number) => `${keyPath.replace(/\.pem$/, '')}.tree-${level}`;
  return {
    load(level) {
      try {
        const path = pathOf(level);
        return statSync(path).size <= LARGEST_TREE ? new Uint8Array(readFileSync(path)) : undefined;
      } catch {
        return undefined;
      }
    },
    save: (level, bytes) => replaceFile(pathOf(level), bytes),
  };
}
