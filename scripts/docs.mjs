// Writes the reference pages of docs/ from the program's own tables.
import { writeFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';
import { build } from 'esbuild';

const outfile = '.test-output/docs.mjs';
await build({
  entryPoints: ['scripts/docs.ts'],
  outfile,
  bundle: true,
  format: 'esm',
  platform: 'node',
  packages: 'external',
  logLevel: 'warning',
});
const { writtenPages } = await import(pathToFileURL(outfile));
for (const [path, text] of writtenPages()) {
  writeFileSync(path, text);
  console.log(path);
}
