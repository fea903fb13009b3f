import { existsSync } from 'node:fs';
import { wrongUse } from './exit.ts';

/** Refuses an output file that is there already, before anything is done towards it. */
export function requireFree(path: string): void {
  if (!existsSync(path)) return;
  throw wrongUse(`${path} is there already and was left as it is; nothing was done`, 'name another file');
}
