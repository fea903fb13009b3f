/** Run as a process of its own by approval-kill.test.ts: asks for the same image, approves it and seals it, again and again. */
import { writeSync } from 'node:fs';
import { approve, freezeRequest, sealApproved } from '../../src/release/index.ts';
import { openWorkspace } from '../../src/workspace/index.ts';
import { secrets } from './secrets.ts';

const [root, image, out] = process.argv.slice(2) as [string, string, string];
const workspace = await openWorkspace(root);
const images = [{ path: image }];
for (;;) {
  const asked = { workspace, secrets, className: 'vent', images, version: '1.4.0', requester: 'ada' };
  const { opened } = await freezeRequest(asked);
  const request = `vent/${opened.frozen.sequenceNumber}`;
  await approve({ workspace, secrets, request, approver: 'bela' });
  const { json } = await sealApproved({ workspace, secrets, images, out, force: true, request });
  writeSync(1, `${json.sequence_number}\n`);
}
