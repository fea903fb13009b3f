/**
 * A processor and an author that share nothing with this project: SUIT by the draft's words, CBOR by `cborg`, hashes and
 * signatures by node:crypto. Nothing here may import from src.
 */
import { createHash, type KeyObject, sign, verify } from 'node:crypto';
import { decode, encode, rfc8949EncodeOptions, Tagged } from 'cborg';

type Parameters = Map<number, unknown>;
type Block = [headers: Uint8Array, open: Map<number, unknown>, payload: null, proof: Uint8Array];

const read = (bytes: Uint8Array) => decode(bytes, { useMaps: true, tags: Tagged.preserve(17, 18, 107) });
const write = (value: unknown) => encode(value, rfc8949EncodeOptions);
const hash = (bytes: Uint8Array, algorithm = 'sha256') =>
  new Uint8Array(createHash(algorithm).update(bytes).digest());
const same = (a: Uint8Array, b: Uint8Array) => Buffer.compare(a, b) === 0;

/** RFC 9562 5.5. */
export function uuid5(namespace: Uint8Array, name: string): Uint8Array {
  const id = hash(Buffer.concat([namespace, Buffer.from(name)]), 'sha1').slice(0, 16);
  id[6] = (id[6]! & 0x0f) | 0x50;
  id[8] = (id[8]! & 0x3f) | 0x80;
  return id;
}

/** RFC 9562 6.6: the namespace of domain names. */
export const DNS = Buffer.from('6ba7b8109dad11d180b400c04fd430c8', 'hex');

/** What an envelope holds (draft-ietf-suit-manifest 8.2). */
export interface Opened {
  /** The encoded SUIT_Digest: what is signed or MACed. */
  digest: Uint8Array;
  blocks: { tag: number; headers: Map<number, unknown>; block: Block }[];
  manifest: Map<number, unknown>;
  elements: Map<number | string, Uint8Array>;
}

/** Opens an envelope; throws where the digest is not that of the manifest, byte string header included (8.3). */
export function openEnvelope(bytes: Uint8Array): Opened {
  const envelope = read(bytes) as Tagged & { value: Map<number | string, Uint8Array> };
  if (envelope.tag !== 107) throw new Error('not an envelope');
  const [digest, ...blocks] = read(envelope.value.get(2)!) as [Uint8Array, ...Uint8Array[]];
  const content = envelope.value.get(3)!;
  requireDigest(read(digest), write(content));
  return {
    digest,
    blocks: blocks.map((each) => {
      const { tag, value } = read(each) as Tagged & { value: Block };
      return { tag, block: value, headers: read(value[0]) };
    }),
    manifest: read(content),
    elements: envelope.value,
  };
}

function requireDigest([algorithm, expected]: [number, Uint8Array], bytes: Uint8Array): void {
  if (algorithm !== -16 || !same(hash(bytes), expected)) throw new Error('digest wrong');
}

/** Sig_structure or MAC_structure of a block over the digest (RFC 9052 4.4, 6.3). */
export function covered({ tag, block }: Opened['blocks'][number], digest: Uint8Array): Uint8Array {
  return write([tag === 18 ? 'Signature1' : 'MAC0', block[0], new Uint8Array(), digest]);
}

/** Whether a COSE_Sign1 with ESP256 or Ed25519 verifies (RFC 9053 2, RFC 9864). */
export function verifies(signed: Opened['blocks'][number], digest: Uint8Array, key: KeyObject): boolean {
  const p256 = signed.headers.get(1) === -9;
  if (!p256 && signed.headers.get(1) !== -19) return false;
  const options = { key, dsaEncoding: 'ieee-p1363' } as const;
  return verify(p256 ? 'sha256' : null, covered(signed, digest), options, signed.block[3]);
}

/** A device: who it is, which slot takes the image. */
export interface Device {
  vendor: Uint8Array;
  model: Uint8Array;
  slot: number;
}

interface Run {
  device: Device;
  opened: Opened;
  parameters: Parameters;
  fetched?: Uint8Array;
  started: boolean;
}

/** Installs and starts by the manifest, one component: the image it fetched, and whether it is started. */
export function carryOut(
  opened: Opened,
  device: Device,
): { image: Uint8Array | undefined; started: boolean } {
  const run: Run = { device, opened, parameters: new Map(), started: false };
  const shared = (read(opened.manifest.get(3) as Uint8Array) as Map<number, Uint8Array>).get(4);
  for (const section of [shared, sectionOf(opened, 20), shared, sectionOf(opened, 7), sectionOf(opened, 9)]) {
    if (section) perform(section, run);
  }
  return { image: run.fetched, started: run.started };
}

/** In place, or severed: then by the digest of the byte string with its header (8.6). */
export function sectionOf({ manifest, elements }: Opened, key: number): Uint8Array | undefined {
  const section = manifest.get(key) as Uint8Array | [number, Uint8Array] | undefined;
  if (!Array.isArray(section)) return section;
  const severed = elements.get(key);
  if (severed) requireDigest(section, write(severed));
  return severed;
}

function perform(sequence: Uint8Array, run: Run): void {
  const items = read(sequence) as unknown[];
  for (let i = 0; i < items.length; i += 2) command(items[i] as number, items[i + 1], run);
}

/** 8.4.9 and 8.4.10; a condition that does not hold throws. */
function command(code: number, argument: unknown, run: Run): void {
  const { device, parameters, opened } = run;
  const bytes = (key: number) => parameters.get(key) as Uint8Array;
  const demand = (holds: boolean) => {
    if (!holds) throw new Error(`condition ${code}`);
  };
  if (code === 20) for (const [key, value] of argument as Parameters) parameters.set(key, value);
  else if (code === 1) demand(same(bytes(1), device.vendor));
  else if (code === 2) demand(same(bytes(2), device.model));
  else if (code === 5) demand(parameters.get(5) === device.slot);
  else if (code === 15) tryEach(argument as Uint8Array[], run);
  else if (code === 21) run.fetched = opened.elements.get(parameters.get(21) as string);
  else if (code === 3) {
    demand(run.fetched?.length === parameters.get(14));
    requireDigest(read(bytes(3)), run.fetched!);
  } else if (code === 23) run.started = true;
  else throw new Error(`command ${code}`);
}

function tryEach(branches: readonly Uint8Array[], run: Run): void {
  for (const branch of branches) {
    const attempt: Run = { ...run, parameters: new Map(run.parameters) };
    try {
      perform(branch, attempt);
      Object.assign(run, attempt);
      return;
    } catch {}
  }
  throw new Error('no branch');
}

/** What to author: one image for one class. */
export interface Authored {
  device: Device;
  number: number;
  image: Uint8Array;
  algorithm: -9 | -19;
  key: KeyObject;
  /** DER, the signer first. */
  chain: Uint8Array[];
}

/** An envelope by the templates of section 7: compatibility check, installation, validation, start. */
export function author({ device, number, image, algorithm, key, chain }: Authored): Uint8Array {
  const facts = new Map<number, unknown>([
    [1, device.vendor],
    [2, device.model],
    [3, write([-16, hash(image)])],
    [14, image.length],
  ]);
  const common = new Map<number, unknown>([
    [2, [[Buffer.from('main')]]],
    [4, write([20, facts, 1, 15, 2, 15])],
  ]);
  const manifest = write(
    new Map<number, unknown>([
      [1, 1],
      [2, number],
      [3, write(common)],
      [7, write([3, 15])],
      [9, write([23, 2])],
      [20, write([20, new Map([[21, '#image']]), 21, 2, 3, 15])],
    ]),
  );
  return sealed(manifest, [['#image', image]], { algorithm, key, chain });
}

/** What to author by delta: the image is made out of what runs. */
export interface AuthoredDelta extends Authored {
  delta: Uint8Array;
  /** Bytes that the largest window of the delta makes. */
  window: number;
  precursor: Uint8Array;
}

/** By delta and by nothing else: docs/deployment-profile.md section 14, with parameter -257. */
export function authorDelta(authored: AuthoredDelta): Uint8Array {
  const { device, number, image, delta, window, precursor } = authored;
  const told = (bytes: Uint8Array): [number, unknown][] => [
    [3, write([-16, hash(bytes)])],
    [14, bytes.length],
  ];
  const facts = new Map<number, unknown>([[1, device.vendor], [2, device.model], ...told(image)]);
  const common = new Map<number, unknown>([
    [2, [[Buffer.from('main')], [Buffer.from('precursor')], [Buffer.from('download')]]],
    [4, write([12, 0, 20, facts, 1, 15, 2, 15])],
  ]);
  const compare = [12, 1, 20, new Map(told(precursor)), 3, 15];
  const fetch = [12, 2, 20, new Map<number, unknown>([...told(delta), [21, '#delta']]), 21, 2, 3, 15];
  const info = new Map<number, unknown>([
    [22, 2],
    [-257, write([1, window, 1])],
  ]);
  const manifest = write(
    new Map<number, unknown>([
      [1, 1],
      [2, number],
      [3, write(common)],
      [7, write([12, 0, 3, 15])],
      [9, write([12, 0, 23, 2])],
      [20, write([...compare, ...fetch, 12, 0, 20, info, 22, 2, 3, 15])],
    ]),
  );
  return sealed(manifest, [['#delta', delta]], authored);
}

function sealed(
  manifest: Uint8Array,
  payloads: readonly [string, Uint8Array][],
  { algorithm, key, chain }: Pick<Authored, 'algorithm' | 'key' | 'chain'>,
): Uint8Array {
  const digest = write([-16, hash(write(manifest))]);
  const headers = write(
    new Map<number, unknown>([
      [1, algorithm],
      [34, [-16, hash(chain[0]!)]],
    ]),
  );
  const signed = write(['Signature1', headers, new Uint8Array(), digest]);
  const options = { key, dsaEncoding: 'ieee-p1363' } as const;
  const signature = new Uint8Array(sign(algorithm === -9 ? 'sha256' : null, signed, options));
  const open = new Map<number, unknown>([[33, chain.length === 1 ? chain[0] : chain]]);
  const block = write(new Tagged(18, [headers, open, null, signature]));
  const envelope = new Map<number | string, unknown>([
    [2, write([digest, block])],
    [3, manifest],
    ...payloads,
  ]);
  return write(new Tagged(107, envelope));
}
