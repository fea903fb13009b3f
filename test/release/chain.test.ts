import { readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { sourceOf, toHex } from '../../src/bytes/index.ts';
import { decodeCose, LABEL } from '../../src/cose/index.ts';
import { generatePrivateKey, openRoot, softwareSigner } from '../../src/keys/index.ts';
import { seal } from '../../src/release/index.ts';
import { formatUuid, openEnvelope } from '../../src/suit/index.ts';
import {
  addCertificates,
  keyPaths,
  readCertificates,
  readClass,
  readKey,
} from '../../src/workspace/index.ts';
import { issueCertificate, issuerOf, parseCertificate, writeName } from '../../src/x509/index.ts';
import { failure, makeSigner, prepared, request, secrets } from './setup.ts';

const DAY = 86_400_000;

/** A workspace whose signer `site` is certified by an intermediate of the site, and that by the root. */
async function withIntermediate(pathLength: 'intermediate' | 'signer' = 'intermediate') {
  const at = await prepared();
  const { workspace } = at;
  const vent = await readClass(workspace, 'vent');
  await makeSigner(workspace, 'site', { classes: [vent] });
  const root = readCertificates(workspace, 'root')[0]!;
  const rootKey = await openRoot(readKey(workspace, 'root'), {
    file: keyPaths(workspace, 'root').secret,
    secrets,
    production: false,
  });
  const site = softwareSigner(generatePrivateKey('p256'));
  const dates = {
    notBefore: workspace.now(),
    notAfter: new Date(workspace.now().getTime() + 400 * DAY),
    trial: true,
  };
  const scopes = [`urn:uuid:${formatUuid(vent.classId)}`];
  const rights = pathLength === 'signer' ? { scopes, generation: 1 } : {};
  const intermediate = await issueCertificate(
    {
      profile: pathLength,
      subject: writeName([
        ['O', 'Hollin Ridge'],
        ['CN', 'Site 2'],
      ]),
      issuer: issuerOf(root),
      publicKey: site.publicKey,
      ...dates,
      ...rights,
    },
    (tbs) => rootKey.sign(tbs),
  );
  const old = readCertificates(workspace, 'site')[0]!;
  const leaf = await issueCertificate(
    {
      profile: 'signer',
      subject: old.subject,
      issuer: issuerOf(parseCertificate(intermediate)),
      publicKey: old.spki,
      scopes,
      generation: 1,
      ...dates,
    },
    (tbs) => site.sign(tbs),
  );
  rmSync(keyPaths(workspace, 'site').certificates);
  return { at, leaf, intermediate, root };
}

describe('RFC 9360 2: x5chain of a signer under an intermediate', () => {
  test('signer first, then the intermediate; the root is left out even where it is filed', async () => {
    const { at, leaf, intermediate, root } = await withIntermediate();
    addCertificates(at.workspace, 'site', [leaf, intermediate, root.der]);
    await seal(request(at, { signers: ['site'] }));
    const envelope = openEnvelope(sourceOf(readFileSync(join(at.folder, 'vent.suit'))));
    const chain = decodeCose(envelope.blocks[0]!.bytes).headers.get(LABEL.x5chain);
    if (chain?.type !== 'array') throw new Error('x5chain is no array');
    expect(chain.items.map((item) => item.type === 'bytes' && toHex(item.value))).toEqual([
      toHex(leaf),
      toHex(intermediate),
    ]);
  });

  test('RFC 5280 6.1: without the intermediate the chain ends before the root, and nothing is sealed', async () => {
    const { at, leaf } = await withIntermediate();
    addCertificates(at.workspace, 'site', [leaf]);
    expect((await failure(() => seal(request(at, { signers: ['site'] })))).code).toBe('signer-chain');
  });

  test('RFC 5280 4.2.1.9: a signer is no authority: what it certified is refused', async () => {
    const { at, leaf, intermediate } = await withIntermediate('signer');
    addCertificates(at.workspace, 'site', [leaf, intermediate]);
    const error = await failure(() => seal(request(at, { signers: ['site'] })));
    expect(error.code).toBe('signer-chain');
    expect(error.message).toContain('certificate 2 of 2');
  });
});
