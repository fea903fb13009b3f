// Bundles the command into dist/: one small entry, and a chunk for each command, loaded when it is used; and the desk's
// pages into dist/pages, under names made from what they hold.
import { chmod, copyFile, readFile, rm, writeFile } from 'node:fs/promises';
import { basename } from 'node:path';
import { build } from 'esbuild';

await rm('dist', { recursive: true, force: true });
await build({
  entryPoints: { fieldseal: 'src/cli/main.ts' },
  outdir: 'dist',
  bundle: true,
  splitting: true,
  format: 'esm',
  platform: 'node',
  target: 'node20',
  external: ['better-sqlite3', 'pg-native', 'pkcs11js'],
  chunkNames: 'parts/[name]-[hash]',
  banner: {
    js: "import { createRequire as nodeCreateRequire } from 'node:module'; const require = nodeCreateRequire(import.meta.url);",
  },
  logLevel: 'warning',
});
await chmod('dist/fieldseal.js', 0o755);

const pages = await build({
  entryPoints: { desk: 'web/main.tsx', style: 'web/style/index.css' },
  outdir: 'dist/pages',
  entryNames: '[name]-[hash]',
  bundle: true,
  minify: true,
  format: 'esm',
  target: 'es2022',
  jsx: 'automatic',
  jsxImportSource: 'preact',
  metafile: true,
  logLevel: 'warning',
});
const named = (ending) => basename(Object.keys(pages.metafile.outputs).find((name) => name.endsWith(ending)));
const index = await readFile('web/index.html', 'utf8');
await writeFile(
  'dist/pages/index.html',
  index.replace('STYLE', named('.css')).replace('SCRIPT', named('.js')),
);
await copyFile('web/icon.svg', 'dist/pages/icon.svg');
