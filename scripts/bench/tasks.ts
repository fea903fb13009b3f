/** What the bench measures inside one process. Each task answers with figures; a wrong verdict ends the process. */
import { readFileSync } from 'node:fs';
import { type ByteSource, eachPiece, sourceOf, toHex } from '../../src/bytes/index.ts';
import { decodeCose, LABEL, signStructure1 } from '../../src/cose/index.ts';
import { randomBytes, startSha256 } from '../../src/crypto/index.ts';
import { defaultMemoryMap, imageForSlot, type MemoryMap } from '../../src/image/index.ts';
import { openEnvelope } from '../../src/suit/index.ts';
import {
  beginLife,
  checkForUnit,
  EmulatedFlash,
  emptyState,
  memoryStore,
  openUnit,
  readUnitRecord,
  type UnitRecord,
  type UnitView,
  unitFileLayout,
  type Verdict,
} from '../../src/unit/index.ts';
import { fromPem, parseCertificate } from '../../src/x509/index.ts';
import { elfOf, intelHexOf } from './image-files.ts';

/** What the parent sealed: paths, and `class show --json`. */
interface Given {
  readonly envelope: string;
  readonly root: string;
  readonly deviceClass: ClassShown;
}

interface ClassShown {
  readonly name: string;
  readonly vendor_id: string;
  readonly class_ids: readonly string[];
  readonly profile: string;
  readonly memory: MemoryMap;
}

type Task =
  | { readonly task: 'facts' | 'install' }
  | { readonly task: 'check'; readonly milliseconds: number }
  | { readonly task: 'read'; readonly format: 'ihex' | 'elf'; readonly sizeBytes: number };

/** Asking for the processor time costs as much as part of a check. */
const CHECKS_BETWEEN_LOOKS = 256;

const given = JSON.parse(process.argv[2]!) as Given;
const envelopeBytes = new Uint8Array(readFileSync(given.envelope));
const envelope = sourceOf(envelopeBytes);
const unit = emptyUnit();

process.on('message', (task: Task) => process.send!(answer(task)));

function answer(task: Task): object {
  switch (task.task) {
    case 'facts':
      return facts();
    case 'check':
      return { perSecond: checksPerSecond(task.milliseconds) };
    case 'read':
      return { bytesPerSecond: readingRate(task.format, task.sizeBytes) };
    case 'install':
      return { bytesPerSecond: installRate() };
  }
}

/** A unit of the class as production leaves it: the root as its anchor, no image on board. */
function emptyUnit(): UnitView {
  const { deviceClass } = given;
  const root = parseCertificate(fromPem(readFileSync(given.root, 'utf8'))[0]!.der);
  const anchor = { name: toHex(root.subject.der), spki: toHex(root.spki), label: 'root', purpose: 'release' };
  const record = readUnitRecord({
    format: 'fieldseal.unit/1',
    serial: '0001',
    class_name: deviceClass.name,
    vendor_id: deviceClass.vendor_id,
    class_ids: deviceClass.class_ids,
    device_id: '0b0f5e0a-3a0e-5b8e-9d5f-3a2d4d8a1c11',
    scheme: 'asymmetric',
    profile: deviceClass.profile,
    clock: false,
    anchors: [anchor],
    mac_keys: [],
    unit_keys: [],
    floors: { sequence_number: '0', security_version: 0, signer_generation: 0 },
    denied_signers: [],
    memory: deviceClass.memory,
    trial_attempts: 3,
    trial: true,
    debug: 'closed',
  });
  return viewOf(record);
}

function viewOf(record: UnitRecord): UnitView {
  return { record, macKeys: new Map(), state: emptyState(record) };
}

/** What one check cannot do without: signatures to verify, bytes to hash. Also shows that a forgery is refused. */
function facts(): object {
  const { digest, blocks, manifestBstr, integrated } = openEnvelope(envelope);
  const message = decodeCose(blocks[0]!.bytes, { requireTag: true });
  if (message.kind !== 'sign1') throw new Error(`sealed with ${message.kind}`);
  const chain = message.headers.get(LABEL.x5chain);
  const certificates = (chain?.type === 'array' ? chain.items : [chain]).map((item) => {
    if (item?.type !== 'bytes') throw new Error('no certificate in the envelope');
    return parseCertificate(item.value);
  });
  const hashed = [
    signStructure1(message.headers.protectedBytes, digest.encoded),
    manifestBstr,
    certificates[0]!.der,
    ...certificates.map(({ tbs }) => tbs),
    ...[...integrated.values()].map(({ length }) => ({ length })),
  ];
  requireForgeryRefused();
  const { steps } = accepted(checkForUnit({ unit, envelope }));
  return {
    signatures: certificates.length + 1,
    hashedBytes: hashed.reduce((sum, { length }) => sum + length, 0),
    steps: steps.filter(({ outcome }) => outcome === 'passed').length,
  };
}

function requireForgeryRefused(): void {
  accepted(checkForUnit({ unit, envelope }));
  const forged = envelopeBytes.slice();
  forged[forged.length - 1]! ^= 1;
  const { refusal } = checkForUnit({ unit, envelope: sourceOf(forged) });
  if (refusal?.code !== 'image-digest-wrong') throw new Error('a changed image was not refused');
}

/**
 * Checks a second of processor time, all threads of the process together: `openssl speed` counts processor time too,
 * so that other work on the machine slows down neither side.
 */
function checksPerSecond(milliseconds: number): number {
  const begin = process.cpuUsage();
  let checks = 0;
  let spent = 0;
  do {
    for (let i = 0; i < CHECKS_BETWEEN_LOOKS; i++) accepted(checkForUnit({ unit, envelope }));
    checks += CHECKS_BETWEEN_LOOKS;
    spent = processorTime(begin);
  } while (spent < milliseconds);
  return (checks * 1000) / spent;
}

/** Milliseconds of processor time since `begin`. */
function processorTime(begin: NodeJS.CpuUsage): number {
  const { user, system } = process.cpuUsage(begin);
  return (user + system) / 1000;
}

function accepted(verdict: Verdict): Verdict {
  if (verdict.verdict !== 'accepted') throw new Error(`${verdict.verdict}: ${verdict.refusal?.code}`);
  return verdict;
}

/** Bytes of image a second, from a file in memory to the digest of the flat image. */
function readingRate(format: 'ihex' | 'elf', sizeBytes: number): number {
  const map = defaultMemoryMap({ core: 'none', slotSize: sizeBytes });
  const data = randomBytes(sizeBytes);
  const file = sourceOf(format === 'ihex' ? intelHexOf(data) : elfOf(data));
  const begin = process.cpuUsage();
  const flat = imageForSlot(file, map, { format });
  hashAll(flat.source);
  return (sizeBytes * 1000) / processorTime(begin);
}

function hashAll(source: ByteSource): void {
  const hash = startSha256();
  eachPiece(source, (piece) => hash.update(piece));
  hash.digest();
}

/** Bytes of image a second into the emulated flash of a new unit, decision and read-back included. */
function installRate(): number {
  const { record } = unit;
  const { flashOffset, notesOffset, size, flash: layout } = unitFileLayout(record.memory);
  const place = { dataOffset: flashOffset, size: layout.size, notesOffset };
  const flash = new EmulatedFlash(memoryStore(size), place, record.memory.flash, { noise: Math.random });
  const marksKey = randomBytes(32);
  beginLife(record, flash, marksKey);
  const life = openUnit({ record, macKeys: new Map(), marksKey, flash });
  const begin = process.cpuUsage();
  const { refusal } = life.install({ envelope });
  const spent = processorTime(begin);
  if (refusal) throw new Error(`install: ${refusal.code}`);
  return (envelope.size * 1000) / spent;
}
