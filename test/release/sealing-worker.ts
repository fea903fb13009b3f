/** Run as a process of its own by seal-kill.test.ts: seals the same image to one place, again and again. */
import { writeSync } from 'node:fs';
import { seal } from '../../src/release/index.ts';
import { openWorkspace } from '../../src/workspace/index.ts';
import { secrets } from './secrets.ts';

const [root, image, out] = process.argv.slice(2) as [string, string, string];
const workspace = await openWorkspace(root);
for (;;) {
  const { json } = await seal({
    workspace,
    className: 'vent',
    images: [{ path: image }],
    version: '1.4.0',
    out,
    force: true,
    secrets,
  });
  writeSync(1, `${json.sequence_number}\n`);
}
