// Bundles the command into dist/: one small entry, and a chunk for each command, loaded when it is used.
import { chmod, rm } from 'node:fs/promises';
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
  external: ['pkcs11js'],
  chunkNames: 'parts/[name]-[hash]',
  banner: {
    js: "import { createRequire as nodeCreateRequire } from 'node:module'; const require = nodeCreateRequire(import.meta.url);",
  },
  logLevel: 'warning',
});
await chmod('dist/fieldseal.js', 0o755);
