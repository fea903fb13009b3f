// Writes schemas/*.schema.json from the schemas that the program itself reads files with.
import { writeFile } from 'node:fs/promises';
import { build } from 'esbuild';

const { outputFiles } = await build({
  entryPoints: ['scripts/schemas.ts'],
  bundle: true,
  format: 'esm',
  platform: 'node',
  write: false,
});
const { publishedSchemas } = await import(
  `data:text/javascript;base64,${Buffer.from(outputFiles[0].contents).toString('base64')}`
);
for (const [name, text] of Object.entries(publishedSchemas())) {
  await writeFile(`schemas/${name}`, text);
  console.log(`schemas/${name}`);
}
