/** Run as a process of its own by hss-lms-kill.test.ts: signs with an HSS/LMS key until it is killed, and tells each leaf. */
import { writeSync } from 'node:fs';
import { fromHex } from '../../src/bytes/index.ts';
import { readPublicKey, spentLeaf } from '../../src/crypto/index.ts';
import { createSecretSource, openSigner } from '../../src/keys/index.ts';
import { keyPaths, openLeaves, openWorkspace, readKey } from '../../src/workspace/index.ts';

const [, , root, name] = process.argv;
const workspace = await openWorkspace(root);
const description = readKey(workspace, name!);
const signer = await openSigner(description, {
  file: keyPaths(workspace, name!).secret,
  secrets: createSecretSource({ production: false }),
  production: false,
  leaves: openLeaves(workspace, description),
});
const key = readPublicKey(fromHex(description.spki!))!;
for (let i = 0; ; i++) {
  const signature = await signer.sign(new TextEncoder().encode(`${process.pid} ${i}`));
  writeSync(1, `${spentLeaf(key, signature)?.leaf}\n`);
}
