import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { concat, equal, sourceOf, toHex } from '../../src/bytes/index.ts';
import { type CborItem, encode } from '../../src/cbor/index.ts';
import { decodeCose, LABEL, verifyMac0, verifySign1 } from '../../src/cose/index.ts';
import { readPublicKey, sha256 } from '../../src/crypto/index.ts';
import { withMacSecret } from '../../src/keys/index.ts';
import { seal } from '../../src/release/index.ts';
import { manifestDigestMatches, openEnvelope, readManifest } from '../../src/suit/index.ts';
import { checkAuthenticity } from '../../src/unit/index.ts';
import {
  classKeys,
  type JsonObject,
  keyPaths,
  readCertificates,
  readLedger,
  readRecord,
  verifyLedger,
} from '../../src/workspace/index.ts';
import { writeHex } from './hex.ts';
import { editClass, failure, firmware, prepared, request, secrets } from './setup.ts';

const open = (path: string) => openEnvelope(sourceOf(readFileSync(path)));
const bytesOf = (item: CborItem | undefined) => (item?.type === 'bytes' ? toHex(item.value) : undefined);
const sha256Hex = (bytes: Uint8Array) => createHash('sha256').update(bytes).digest('hex');

describe('SUIT manifest 8.2, 8.3: the envelope', () => {
  test('an integrated image lies in the envelope, and every digest is the one OpenSSL computes', async () => {
    const at = await prepared();
    const { json } = await seal(request(at));
    const envelope = open(join(at.folder, 'vent.suit'));
    expect(envelope.tag107).toBe(true);
    expect(manifestDigestMatches(envelope)).toBe(true);
    const { offset, length } = envelope.integrated.get('#image')!;
    const image = readFileSync(at.image);
    expect(
      readFileSync(join(at.folder, 'vent.suit'))
        .subarray(offset, offset + length)
        .equals(image),
    ).toBe(true);
    expect(json).toMatchObject({
      format: 'fieldseal.seal/1',
      trial: true,
      class: 'vent',
      version: '1.4.0',
      sequence_number: 1,
      security_version: 0,
      manifest_digest: sha256Hex(encode(envelope.manifest)),
      image: {
        digest: sha256Hex(image),
        size_bytes: image.length,
        slot: 'A',
        address: 0x08000000,
        uri: '#image',
      },
      envelope: {
        size_bytes: readFileSync(join(at.folder, 'vent.suit')).length,
        sha256: sha256Hex(readFileSync(join(at.folder, 'vent.suit'))),
      },
      signer: { name: 'line-1', algorithm: 'ESP256', generation: 1 },
    });
  });

  test('RFC 9360 2: x5t in the protected header names the certificate in x5chain, whose key made the signature', async () => {
    const at = await prepared();
    await seal(request(at));
    const envelope = open(join(at.folder, 'vent.suit'));
    const block = decodeCose(envelope.blocks[0]!.bytes, { requireTag: true });
    if (block.kind !== 'sign1') throw new Error(block.kind);
    const [leaf] = readCertificates(at.workspace, 'line-1');
    expect(block.payload).toBeNull();
    const x5t = block.headers.protectedGet(LABEL.x5t);
    if (x5t?.type !== 'array') throw new Error('no x5t');
    const [algorithm, hash] = x5t.items;
    expect(algorithm).toMatchObject({ type: 'nint', value: -16 });
    expect(bytesOf(hash)).toBe(toHex(sha256(leaf!.der)));
    expect(block.headers.protectedGet(LABEL.x5chain)).toBeUndefined();
    expect(bytesOf(block.headers.get(LABEL.x5chain))).toBe(toHex(leaf!.der));
    expect(verifySign1(block, readPublicKey(leaf!.spki)!, envelope.digest.encoded).ok).toBe(true);
  });

  test('a detached image stays where it is; the manifest names it by its digest (RFC 6920 3)', async () => {
    const at = await prepared();
    const { json } = await seal(request(at, { detached: true }));
    const envelope = open(join(at.folder, 'vent.suit'));
    expect(envelope.integrated.size).toBe(0);
    const name = `ni:///sha-256;${createHash('sha256').update(readFileSync(at.image)).digest('base64url')}`;
    expect(json.image).toMatchObject({ uri: name, file: null });
    expect(readFileSync(join(at.folder, 'vent.suit')).includes(name)).toBe(true);
    expect(readdirSync(at.folder).sort()).toEqual(['vent.bin', 'vent.suit', 'ws']);
  });

  test('a detached image may have a place of its own', async () => {
    const at = await prepared();
    const images = [{ path: at.image, uri: 'coap://depot.hollinridge.example/vent/1.4.0' }];
    await seal(request(at, { detached: true, images }));
    expect(
      readFileSync(join(at.folder, 'vent.suit')).includes('coap://depot.hollinridge.example/vent/1.4.0'),
    ).toBe(true);
  });

  test('RFC 9052 6.2: one MAC for the class key and one for each cohort, each verifying with its own key only', async () => {
    const at = await prepared();
    const { json } = await seal(request(at, { className: 'dosing' }));
    const envelope = open(join(at.folder, 'vent.suit'));
    const blocks = envelope.blocks.map(({ bytes }) => decodeCose(bytes, { requireTag: true }));
    expect(blocks.map(({ kind }) => kind)).toEqual(['mac0', 'mac0']);
    const keys = classKeys(at.workspace, 'dosing');
    expect(keys.map(({ cohort }) => cohort)).toEqual([undefined, 'north']);
    for (const [i, { description }] of keys.entries()) {
      const access = { file: keyPaths(at.workspace, description.name).secret, secrets, production: false };
      await withMacSecret(description, access, (secret) => {
        const verdicts = blocks.map(
          (block) => block.kind === 'mac0' && verifyMac0(block, secret, envelope.digest.encoded).ok,
        );
        expect(verdicts).toEqual([i === 0, i === 1]);
      });
      expect(bytesOf(blocks[i]!.headers.get(LABEL.kid))).toBe(description.fingerprint);
    }
    expect(json).toMatchObject({
      scheme: 'symmetric',
      signer: null,
      mac_keys: [
        { name: 'dosing', cohort: null },
        { name: 'dosing.north', cohort: 'north' },
      ],
    });
  });

  test('linked slots carry two images, each linked for its slot, in one payload', async () => {
    const at = await prepared();
    const [a, b] = [join(at.folder, 'a.bin'), join(at.folder, 'b.bin')];
    writeFileSync(a, firmware(3000, 2));
    writeFileSync(b, firmware(3500, 3));
    const { json } = await seal(request(at, { className: 'twin', images: [{ path: a }, { path: b }] }));
    const envelope = open(join(at.folder, 'vent.suit'));
    expect([...envelope.integrated.keys()]).toEqual(['#image-a', '#image-b']);
    expect([...envelope.integrated.values()].map(({ length }) => length)).toEqual([3000, 3500]);
    expect(json.images).toMatchObject([
      { slot: 'A', size_bytes: 3000 },
      { slot: 'B', size_bytes: 3500 },
    ]);
    const one = await failure(() =>
      seal(request(at, { className: 'twin', images: [{ path: a }], out: join(at.folder, 'one.suit') })),
    );
    expect(one.code).toBe('images-wrong');
  });

  test('the same inputs and the same number give the same manifest bytes; another number gives others', async () => {
    const [first, second] = [await prepared(), await prepared()];
    await seal(request(first, { sequence: 7n }));
    await seal(request(second, { sequence: 7n }));
    const [a, b] = [open(join(first.folder, 'vent.suit')), open(join(second.folder, 'vent.suit'))];
    expect(equal(a.manifest, b.manifest)).toBe(true);
    await seal(request(second, { sequence: 8n, out: join(second.folder, 'again.suit') }));
    expect(equal(open(join(second.folder, 'again.suit')).manifest, a.manifest)).toBe(false);
  });

  test('text is severed and can be left out; a payload for one unit names it', async () => {
    const at = await prepared();
    await seal(request(at, { description: 'Vents close in a storm' }));
    const envelope = open(join(at.folder, 'vent.suit'));
    expect([...envelope.severed.keys()]).toEqual([23]);
    expect(readManifest(envelope.manifest, { severed: envelope.severed }).text?.state).toBe('attached');
    const deviceId = new Uint8Array(16).fill(0x5a);
    const { json } = await seal(
      request(at, { withoutText: true, deviceId, out: join(at.folder, 'bare.suit') }),
    );
    expect(open(join(at.folder, 'bare.suit')).severed.size).toBe(0);
    expect(
      Buffer.from(open(join(at.folder, 'bare.suit')).manifest).includes(Buffer.from(concat(deviceId))),
    ).toBe(true);
    expect(json.device_id).toBe('5a5a5a5a-5a5a-5a5a-5a5a-5a5a5a5a5a5a');
  });

  test('the security version stands in the protected header, and its rise is pointed out', async () => {
    const at = await prepared();
    const first = await seal(request(at, { securityVersion: 2 }));
    const block = decodeCose(open(join(at.folder, 'vent.suit')).blocks[0]!.bytes);
    expect(block.headers.protectedGet(-70001)).toMatchObject({ type: 'uint', value: 2 });
    expect(first.cautions.join('\n')).toContain('never again accepts or starts one below 2');
    const second = await seal(request(at, { securityVersion: 1, out: join(at.folder, 'lower.suit') }));
    expect(second.cautions.join('\n')).toContain('security version 1 is below 2');
    for (const securityVersion of [-1, 1.5, 2 ** 32, Number.NaN]) {
      expect((await failure(() => seal(request(at, { securityVersion, out: 'x' })))).code).toBe(
        'security-version',
      );
    }
  });
});

describe('what is sealed is what a unit checks', () => {
  test('an integrated and a detached payload are authentic under the key of the signer', async () => {
    const at = await prepared();
    const key = readPublicKey(readCertificates(at.workspace, 'line-1')[0]!.spki)!;
    await seal(request(at));
    const whole = readFileSync(join(at.folder, 'vent.suit'));
    expect(checkAuthenticity({ envelope: sourceOf(whole), key }).verdict).toBe('accepted');
    await seal(request(at, { detached: true, out: join(at.folder, 'apart.suit') }));
    const apart = sourceOf(readFileSync(join(at.folder, 'apart.suit')));
    const image = readFileSync(at.image);
    expect(checkAuthenticity({ envelope: apart, image: sourceOf(image), key }).verdict).toBe('accepted');
    expect(checkAuthenticity({ envelope: apart, key }).verdict).toBe('incomplete');
    image[5000]! ^= 1;
    expect(checkAuthenticity({ envelope: apart, image: sourceOf(image), key }).refusal?.step).toBe('image');
  });
});

describe('the record of a release', () => {
  test('says what was sealed, from what, by which key, and stands on the ledger', async () => {
    const at = await prepared();
    const { json } = await seal(request(at));
    const record = readRecord(at.workspace, 'releases', ['vent', '1']);
    const image = readFileSync(at.image);
    expect(record.facts).toMatchObject({
      format: 'fieldseal.release/1',
      class: 'vent',
      sequence_number: '1',
      manifest_digest: json.manifest_digest,
      envelope: { file: 'vent.suit', sha256: (json.envelope as JsonObject).sha256 },
      images: [
        {
          digest: sha256Hex(image),
          source: { file: 'vent.bin', format: 'raw', sha256: sha256Hex(image) },
          left_out: [],
          gaps: [],
          erased_value: 255,
        },
      ],
      signer: {
        name: 'line-1',
        certificate_sha256: sha256Hex(readCertificates(at.workspace, 'line-1')[0]!.der),
      },
    });
    expect(readLedger(at.workspace).at(-1)).toMatchObject({
      kind: 'sealed',
      facts: { class: 'vent', sequence_number: '1', version: '1.4.0' },
    });
    expect(verifyLedger(at.workspace).intact).toBe(true);
  });

  test('what a named range left out, and which gaps were filled, is on record', async () => {
    const at = await prepared();
    editClass(
      at.workspace,
      'vent',
      'leave_out: []',
      'leave_out:\n    - { name: option-bytes, address: 0x1fffc000, size: 16 }',
    );
    const hex = join(at.folder, 'vent.hex');
    const image = firmware(256, 1);
    writeFileSync(
      hex,
      writeHex([
        [0x08000000, image],
        [0x08000200, Buffer.from('tail')],
        [0x1fffc000, Buffer.alloc(16, 0xaa)],
      ]),
    );
    const { json } = await seal(request(at, { images: [{ path: hex }], detached: true }));
    const flat = Buffer.concat([image, Buffer.alloc(0x100, 0xff), Buffer.from('tail')]);
    expect(json.image).toMatchObject({
      digest: sha256Hex(flat),
      size_bytes: 0x204,
      file: `${join(at.folder, 'vent.suit')}.bin`,
    });
    expect(readFileSync(`${join(at.folder, 'vent.suit')}.bin`).equals(flat)).toBe(true);
    const { facts } = readRecord(at.workspace, 'releases', ['vent', '1']);
    expect(facts.images).toMatchObject([
      {
        source: { format: 'ihex', sha256: sha256Hex(readFileSync(hex)) },
        left_out: [{ name: 'option-bytes', address: 0x1fffc000, size_bytes: 16 }],
        gaps: [{ address: 0x08000100, size_bytes: 0x100 }],
      },
    ]);
  });

  test('the next payload has the next number', async () => {
    const at = await prepared();
    const numbers = [];
    for (const name of ['a', 'b', 'c'])
      numbers.push((await seal(request(at, { out: join(at.folder, name) }))).json.sequence_number);
    expect(numbers).toEqual([1, 2, 3]);
  });
});

describe('outputs and inputs are safe', () => {
  test('an existing output is kept; with force it is replaced, and an input never is', async () => {
    const at = await prepared();
    const out = join(at.folder, 'vent.suit');
    writeFileSync(out, 'mine');
    expect((await failure(() => seal(request(at)))).code).toBe('output-exists');
    expect(readFileSync(out, 'utf8')).toBe('mine');
    await seal(request(at, { force: true }));
    expect(open(out).integrated.size).toBe(1);
    for (const path of [at.image, join(at.folder, 'ws', '..', 'vent.bin')]) {
      expect((await failure(() => seal(request(at, { out: path, force: true })))).code).toBe(
        'output-is-input',
      );
    }
    expect(readFileSync(at.image).equals(firmware(6000, 1))).toBe(true);
  });

  test('a folder that is not there, an image that is not there: nothing is used up', async () => {
    const at = await prepared();
    expect((await failure(() => seal(request(at, { out: join(at.folder, 'none', 'x.suit') })))).code).toBe(
      'file-missing',
    );
    expect(
      (await failure(() => seal(request(at, { images: [{ path: join(at.folder, 'none.bin') }] })))).code,
    ).toBe('file-missing');
    expect((await seal(request(at))).json.sequence_number).toBe(1);
  });

  test.each(['', ' 1.0', '1.0\n', 'x'.repeat(65), '\u202e1.0'])('%j is no version text', async (version) => {
    const at = await prepared();
    expect((await failure(() => seal(request(at, { version })))).code).toBe('version-text');
  });

  test('a version that set-version cannot hold is sealed as text, with a caution', async () => {
    const at = await prepared();
    const { cautions } = await seal(request(at, { version: 'spring-26' }));
    expect(cautions.join('\n')).toContain('cannot be written as set-version');
  });

  test('trade.md 10: the usual cautions and those of the class come with every payload', async () => {
    const at = await prepared();
    editClass(at.workspace, 'vent', 'cautions: []', 'cautions: ["Install only while the vents are closed."]');
    const { cautions } = await seal(request(at));
    expect(cautions).toContain('Install only while the vents are closed.');
    expect(cautions.join('\n')).toContain('reference unit of every hardware revision');
    expect(cautions.join('\n')).toContain('safety or approval standard');
  });

  test('progress is told while bytes move', async () => {
    const at = await prepared();
    writeFileSync(at.image, firmware(200_000, 4));
    const steps: string[] = [];
    await seal(
      request(at, {
        progress: ({ doing, doneBytes, totalBytes }) => steps.push(`${doing} ${doneBytes}/${totalBytes}`),
      }),
    );
    expect(steps).toEqual(['reading 200000/200000', 'writing 200000/200000']);
  });
});
