/** Every parser that reads what strangers send or people edit, one row each. */

import {
  AttestationError,
  openToken,
  readChallenge,
  readClaims,
  readMeasurement,
  writeChallenge,
  writeClaims,
  writeMeasurement,
} from '../../src/attestation/index.ts';
import { AnnouncementFault, encodeAnnouncement, readAnnouncement } from '../../src/broadcast/index.ts';
import { equal, fromUtf8, sourceOf, toUtf8 } from '../../src/bytes/index.ts';
import { CborError, decode, diagnostic } from '../../src/cbor/index.ts';
import { CoseError, decodeCose, decodeEncrypted } from '../../src/cose/index.ts';
import { applyDelta, DeltaError } from '../../src/delta/index.ts';
import { planMistakes, planOf } from '../../src/fleet/waves/plan/plan.ts';
import { planSchema } from '../../src/fleet/waves/plan/schema.ts';
import {
  defaultMemoryMap,
  ImageError,
  type ImageFormat,
  imageForSlot,
  readImage,
} from '../../src/image/index.ts';
import { figureBook } from '../../src/plan/figures/book.ts';
import { figuresSchema } from '../../src/plan/figures/schema.ts';
import { ProvisionError, readJob, readResult } from '../../src/provision/index.ts';
import { columnsOf } from '../../src/rehearsal/acceptance/inventory/columns.ts';
import { FACT_NAMES } from '../../src/rehearsal/acceptance/inventory/facts.ts';
import { columnsSchema } from '../../src/rehearsal/acceptance/inventory/schema.ts';
import { decodeFrozen, encodeFrozen, FrozenError } from '../../src/release/approval/frozen.ts';
import { ReportError, readReport, writeReport } from '../../src/report/index.ts';
import {
  ALL_EXTENSIONS,
  diagnosticOfEnvelope,
  mapBytes,
  openEnvelope,
  type Region,
  readManifest,
  SuitError,
} from '../../src/suit/index.ts';
import { encodeTrustPolicy, readTrustPolicy, readUnitRecord, UnitRecordError } from '../../src/unit/index.ts';
import {
  decodeUnitFileHeader,
  encodeUnitFileHeader,
  UnitFileError,
} from '../../src/unit/unit-file-header.ts';
import { readDocument } from '../../src/workspace/document.ts';
import { WorkspaceError } from '../../src/workspace/errors.ts';
import { deviceClassSchema } from '../../src/workspace/schema.ts';
import {
  DerError,
  type DerReader,
  fromPem,
  parseCertificate,
  parseCrl,
  parseRequest,
  readDer,
  toPem,
  X509Error,
} from '../../src/x509/index.ts';
import { reencode } from '../../test/cbor/reencode.ts';
import { exampleRecord } from '../../test/unit/records.ts';
import { bootLogs, readBootLog } from './boot-log.ts';
import { mutateBytes } from './byte-mutation.ts';
import { mutateTree } from './cbor-mutation.ts';
import { type Place, placesOf, treeOf, write } from './cbor-tree.ts';
import { derTreeOf, mutateDer, writeDer } from './der-tree.ts';
import { journals, readJournal } from './journal.ts';
import type { Random } from './random.ts';
import * as seeds from './seeds.ts';
import { endOf, promise, type Target } from './target.ts';
import { mutateText } from './text-mutation.ts';

type Mutate = Target['mutate'];

/** Trees where the input is CBOR, bytes where it is not, or now and then. */
const asCbor: Mutate = (random, input, other) => {
  const tree = random.chance(0.8) ? treeOf(input) : undefined;
  if (!tree) return mutateBytes(random, input, other);
  const donor = treeOf(other);
  const donors: readonly Place[] | undefined = donor && placesOf(donor);
  let changed = tree;
  for (let changes = 1 + random.below(3); changes > 0; changes--) {
    changed = mutateTree(random, changed, undefined, random.chance(0.5) ? donors : undefined);
  }
  return write(changed);
};

const asDer: Mutate = (random, input, other) => {
  const tree = random.chance(0.8) ? derTreeOf(input) : undefined;
  return tree ? writeDer(mutateDer(random, tree)) : mutateBytes(random, input, other);
};

const bytes: Mutate = (random, input, other) => mutateBytes(random, input, other);

/** Lines, with sums put right most of the time, so that what stands behind a sum is reached. */
const asRecords =
  (sumOf: (line: string) => string): Mutate =>
  (random, input, other) => {
    const mutated = mutateText(random, input, other);
    if (random.chance(0.3)) return mutated;
    const lines = Buffer.from(mutated).toString('latin1').split('\n');
    return new Uint8Array(Buffer.from(lines.map(sumOf).join('\n'), 'latin1'));
  };

export const TARGETS: readonly Target[] = [
  { name: 'cbor', about: 'RFC 8949', seeds: seeds.cborItems, mutate: asCbor, read: readCbor },
  {
    name: 'cose',
    about: 'RFC 9052 sections 4 and 6',
    seeds: seeds.coseMessages,
    mutate: asCbor,
    read: readCose,
  },
  {
    name: 'cose-encrypted',
    about: 'RFC 9052 section 5',
    seeds: seeds.encryptedMessages,
    mutate: asCbor,
    read: readEncrypted,
  },
  {
    name: 'suit-envelope',
    about: '[M] section 8.2',
    seeds: seeds.envelopes,
    mutate: asCbor,
    read: readEnvelope,
  },
  {
    name: 'suit-manifest',
    about: '[M] section 8.4',
    seeds: seeds.manifests,
    mutate: asCbor,
    read: readManifestBytes,
  },
  {
    name: 'suit-anatomy',
    about: 'what inspect shows',
    seeds: seeds.envelopes,
    mutate: asCbor,
    read: readAnatomy,
  },
  { name: 'report', about: '[RPT] section 4', seeds: seeds.reports, mutate: asCbor, read: readReportBytes },
  {
    name: 'sealing-request',
    about: 'docs/approvals.md',
    seeds: seeds.sealingRequests,
    mutate: asCbor,
    read: readSealingRequest,
  },
  {
    name: 'trust-policy',
    about: 'docs/deployment-profile.md section 15',
    seeds: seeds.trustPolicies,
    mutate: asCbor,
    read: readPolicyBytes,
  },
  {
    name: 'eat-claims',
    about: 'RFC 9711 section 4',
    seeds: seeds.claimsSets,
    mutate: asCbor,
    read: readClaimsBytes,
  },
  {
    name: 'eat-token',
    about: 'RFC 9711 section 3, RFC 8392',
    seeds: seeds.tokens,
    mutate: asCbor,
    read: readTokenBytes,
  },
  {
    name: 'challenge',
    about: 'docs/attestation.md',
    seeds: seeds.challenges,
    mutate: asCbor,
    read: readChallengeBytes,
  },
  {
    name: 'announcement',
    about: 'docs/announcements.md',
    seeds: seeds.announcements,
    mutate: asCbor,
    read: readAnnouncementBytes,
  },
  {
    name: 'measurement',
    about: 'docs/attestation.md',
    seeds: seeds.measurementBodies,
    mutate: asCbor,
    read: readMeasurementBytes,
  },
  { name: 'der', about: 'X.690', seeds: seeds.certificates, mutate: asDer, read: readDerTree },
  {
    name: 'x509-certificate',
    about: 'RFC 5280 section 4',
    seeds: seeds.certificates,
    mutate: asDer,
    read: x509(parseCertificate),
  },
  {
    name: 'x509-crl',
    about: 'RFC 5280 section 5',
    seeds: seeds.revocationLists,
    mutate: asDer,
    read: x509(parseCrl),
  },
  { name: 'x509-request', about: 'RFC 2986', seeds: seeds.requests, mutate: asDer, read: x509(parseRequest) },
  { name: 'pem', about: 'RFC 7468', seeds: seeds.pemFiles, mutate: mutateText, read: readPem },
  {
    name: 'intel-hex',
    about: 'Intel HEX',
    seeds: seeds.intelHex,
    mutate: asRecords(hexSum),
    read: image('ihex'),
  },
  {
    name: 's-record',
    about: 'Motorola S-record',
    seeds: seeds.sRecords,
    mutate: asRecords(sRecordSum),
    read: image('srec'),
  },
  { name: 'elf', about: 'System V gABI', seeds: seeds.elfFiles, mutate: bytes, read: image('elf') },
  {
    name: 'image',
    about: 'any of them, recognised',
    seeds: () => [...seeds.intelHex(), ...seeds.sRecords(), ...seeds.elfFiles()],
    mutate: bytes,
    read: image(undefined),
  },
  { name: 'vcdiff', about: 'RFC 3284', seeds: seeds.deltas, mutate: bytes, read: readDelta },
  {
    name: 'unit-file-header',
    about: 'src/unit/unit-file-header.ts',
    seeds: headers,
    mutate: headerMutation,
    read: readHeader,
  },
  {
    name: 'marks-journal',
    about: 'src/unit/marks-record.ts',
    seeds: journals,
    mutate: bytes,
    read: readJournal,
  },
  { name: 'boot-log', about: 'src/unit/boot-record.ts', seeds: bootLogs, mutate: bytes, read: readBootLog },
  {
    name: 'unit-record',
    about: 'fieldseal.unit/1',
    seeds: seeds.unitRecords,
    mutate: mutateText,
    read: readRecord,
  },
  {
    name: 'provision-job',
    about: 'fieldseal.provision-job/1',
    seeds: seeds.provisionJobs,
    mutate: mutateText,
    read: provision(readJob),
  },
  {
    name: 'provision-result',
    about: 'fieldseal.provision-result/1',
    seeds: seeds.provisionResults,
    mutate: mutateText,
    read: provision(readResult),
  },
  {
    name: 'device-class',
    about: 'fieldseal.device-class/1',
    seeds: seeds.deviceClasses,
    mutate: mutateText,
    read: readClassFile,
  },
  {
    name: 'figures',
    about: 'fieldseal.figures/1, and the book made of it',
    seeds: seeds.figures,
    mutate: mutateText,
    read: readFiguresFile,
  },
  {
    name: 'inventory-columns',
    about: 'fieldseal.inventory-columns/1, and facts read by it',
    seeds: seeds.inventoryColumns,
    mutate: mutateText,
    read: readColumnsFile,
  },
  {
    name: 'broadcast-plan',
    about: 'fieldseal.broadcast-plan/1, and what its waves reach',
    seeds: seeds.broadcastPlans,
    mutate: mutateText,
    read: readPlanFile,
  },
];

/** The strict profile is a bijection: what it takes is written again byte for byte. */
function readCbor(input: Uint8Array): string {
  return endOf([CborError], () => {
    const item = decode(input);
    promise(equal(reencode(item), input), 'what is decoded encodes to the same bytes');
    diagnostic(item);
    return item.type;
  });
}

function readCose(input: Uint8Array): string {
  return endOf([CoseError], () => decodeCose(input, { requireTag: false }).kind);
}

function readEncrypted(input: Uint8Array): string {
  return endOf([CoseError], () => decodeEncrypted(input).kind);
}

function readEnvelope(input: Uint8Array): string {
  return endOf([SuitError], () => {
    const { blocks, severed, integrated } = openEnvelope(sourceOf(input));
    return `${blocks.length} ${severed.size} ${integrated.size}`;
  });
}

function readManifestBytes(input: Uint8Array): string {
  const end = (options: Parameters<typeof readManifest>[1]) =>
    endOf([SuitError], () => `${readManifest(input, options).sequences.size}`);
  return `${end({})}; ${end({ extensions: ALL_EXTENSIONS })}`;
}

/** Inspect shows anything: every byte stands in exactly one region of the outermost level. */
function readAnatomy(input: Uint8Array): string {
  const regions = mapBytes(sourceOf(input));
  let at = 0;
  for (const { offset, length } of regions) {
    promise(offset === at && length > 0, `the regions leave no gap and do not overlap, at byte ${at}`);
    at += length;
  }
  promise(at === input.length, `the regions end where the file ends, not at ${at}`);
  return `accepted ${deepest(regions)}; ${endOf([SuitError, CborError], () => String(diagnosticOfEnvelope(sourceOf(input)).length > 0))}`;
}

function deepest(regions: readonly Region[]): number {
  return regions.reduce((most, { children = [] }) => Math.max(most, 1 + deepest(children)), 0);
}

function readSealingRequest(input: Uint8Array): string {
  return endOf([FrozenError], () => {
    const request = decodeFrozen(input);
    promise(equal(encodeFrozen(request), input), 'a request has one encoding');
    return `${request.images.length}`;
  });
}

function readReportBytes(input: Uint8Array): string {
  return endOf([ReportError], () => {
    const report = readReport(input);
    const written = writeReport(report);
    promise(
      equal(writeReport(readReport(written)), written),
      'what is written is read, and written the same',
    );
    return `${report.records.length}`;
  });
}

function readPolicyBytes(input: Uint8Array): string {
  const read = readTrustPolicy(input);
  if ('fault' in read) return 'refused';
  promise(equal(encodeTrustPolicy(read), input), 'a policy has one form');
  return `accepted: ${read.denied.length}`;
}

function readClaimsBytes(input: Uint8Array): string {
  return endOf([AttestationError], () => {
    const claims = readClaims(input);
    const written = writeClaims(claims);
    promise(
      equal(writeClaims(readClaims(written)), written),
      'what is written is read, and written the same',
    );
    return `${claims.others.length}`;
  });
}

function readTokenBytes(input: Uint8Array): string {
  return endOf([AttestationError], () => {
    const { message, payload } = openToken(input);
    promise(payload.length <= input.length, 'the claims lie within the token');
    return message.kind;
  });
}

/** A challenge has one form: what is read is written byte for byte. */
function readChallengeBytes(input: Uint8Array): string {
  return endOf([AttestationError], () => {
    const challenge = readChallenge(input);
    promise(equal(writeChallenge(challenge), input), 'a challenge is written as it was read');
    return Object.keys(challenge.region).join();
  });
}

/** An announcement has one form: what is read is written byte for byte. */
function readAnnouncementBytes(input: Uint8Array): string {
  return endOf([AnnouncementFault, CborError], () => {
    const announcement = readAnnouncement(input);
    promise(equal(encodeAnnouncement(announcement), input), 'an announcement is written as it was read');
    return `${announcement.reach.kind} ${announcement.offer ? announcement.offer.images.length : 'nothing'}`;
  });
}

function readMeasurementBytes(input: Uint8Array): string {
  return endOf([AttestationError], () => {
    const measured = readMeasurement(input);
    const again = readMeasurement(writeMeasurement(measured));
    promise(equal(again.digest, measured.digest), 'a measurement is written and read again');
    return measured.manifestDigest ? 'of a slot' : 'of the recovery image';
  });
}

function x509(parse: (der: Uint8Array) => unknown): Target['read'] {
  return (input) =>
    endOf([X509Error, DerError], () => {
      parse(input);
      return '';
    });
}

function readDerTree(input: Uint8Array): string {
  return endOf([DerError], () => String(readDer(input, countElements)));
}

function countElements(reader: DerReader): number {
  let count = 0;
  while (!reader.atEnd) {
    const element = reader.any();
    count += 1 + (element.tag & 0x20 ? countElements(reader.inside(element)) : 0);
  }
  return count;
}

function readPem(input: Uint8Array): string {
  return endOf([X509Error, DerError], () => {
    const blocks = fromPem(Buffer.from(input).toString('latin1'));
    for (const { label, der } of blocks) {
      const [again] = fromPem(toPem(label as 'CERTIFICATE', der));
      promise(equal(again!.der, der), 'a block is written and read again');
    }
    return `${blocks.length}`;
  });
}

const MAP = defaultMemoryMap({ core: 'none' });
const LIMIT = 1 << 20;

function image(format: ImageFormat | undefined): Target['read'] {
  return (input) => {
    const options = { ...(format ? { format } : {}), limit: LIMIT };
    const read = endOf([ImageError], () => String(readImage(sourceOf(input), options).segments.length));
    const laid = endOf([ImageError], () => {
      const flat = imageForSlot(sourceOf(input), MAP, format ? { format } : {});
      promise(flat.size <= MAP.slots[0]!.size, 'what fits is no larger than the slot');
      promise(flat.source.read(0, flat.size).length === flat.size, 'the image has the size it says');
      return '';
    });
    return `${read}; ${laid}`;
  };
}

const DELTA_LIMITS = { targetWindow: 4096, target: 8192, windows: 64 };

function readDelta(input: Uint8Array): string {
  const target = new Uint8Array(DELTA_LIMITS.target);
  return endOf([DeltaError], () => {
    const { length: targetSize } = seeds.PRECURSOR;
    applyDelta({
      delta: sourceOf(input),
      precursor: sourceOf(seeds.PRECURSOR),
      targetSize,
      limits: DELTA_LIMITS,
      target: {
        write: (part, offset) => {
          promise(offset + part.length <= targetSize, 'nothing is written behind the image');
          target.set(part, offset);
        },
        read: (offset, length) => target.slice(offset, offset + length),
      },
    });
    return '';
  });
}

function headers(): Uint8Array[] {
  return [encodeUnitFileHeader({ record: exampleRecord(), marksKey: { trial_hex: '5a'.repeat(32) } })];
}

/** Changes the line of JSON, and most of the time puts its digest right, as anyone can. */
function headerMutation(random: Random, input: Uint8Array, other: Uint8Array): Uint8Array {
  if (random.chance(0.2)) return mutateBytes(random, input, other);
  const json = input.subarray(0, input.indexOf(0x0a));
  const changed = mutateText(random, json, json);
  const digest = random.chance(0.9) ? seeds.digestLine(changed) : fromUtf8('\nsha256 00\n');
  const header = new Uint8Array(input.length).fill(0x20);
  header.set(changed.subarray(0, input.length - digest.length - 1));
  header.set(digest, Math.min(changed.length, input.length - digest.length - 1));
  header[header.length - 1] = 0x0a;
  return header;
}

function readHeader(input: Uint8Array): string {
  return endOf([UnitFileError], () => decodeUnitFileHeader(input).record.scheme);
}

/** As a program gets it: not JSON is the caller's refusal. */
function readRecord(input: Uint8Array): string {
  return endOf([UnitRecordError, SyntaxError, TypeError], () => {
    const value: unknown = JSON.parse(toUtf8(input));
    return endOf([UnitRecordError], () => readUnitRecord(value).scheme);
  });
}

function provision(read: (text: string) => unknown): Target['read'] {
  return (input) =>
    endOf([ProvisionError], () => {
      read(Buffer.from(input).toString());
      return '';
    });
}

function readClassFile(input: Uint8Array): string {
  return endOf(
    [WorkspaceError],
    () => readDocument(Buffer.from(input).toString(), 'class.yaml', deviceClassSchema).scheme,
  );
}

/** Every link of a figures file is there whole, or is refused by name. */
function readFiguresFile(input: Uint8Array): string {
  return endOf([WorkspaceError], () => {
    const book = figureBook(readDocument(Buffer.from(input).toString(), 'figures.yaml', figuresSchema));
    const links = book.links.map((name) => book.link(name));
    promise(
      links.every(({ figures }) => Number.isFinite(figures.payload?.value)),
      'every link has its payload',
    );
    return String(links.length);
  });
}

/** What a columns file names is found in a row of those columns, and nothing else is. */
function readColumnsFile(input: Uint8Array): string {
  return endOf([WorkspaceError], () => {
    const text = Buffer.from(input).toString();
    const columns = columnsOf(readDocument(text, 'columns.yaml', columnsSchema));
    const header = [...new Set(columns.named)];
    const facts = columns.forHeader(header).read(header.map(() => 'x'));
    const known: readonly string[] = FACT_NAMES;
    promise(
      Object.keys(facts).every((name) => known.includes(name)),
      'a row has facts only',
    );
    return `${Object.values(facts).filter((value) => value !== undefined).length}`;
  });
}

/** Whatever plan is taken: its first wave reaches somebody, shares grow, and every time is one. */
function readPlanFile(input: Uint8Array): string {
  return endOf([WorkspaceError], () => {
    const text = Buffer.from(input).toString();
    const { waves } = planOf(readDocument(text, 'waves.yaml', planSchema, planMistakes));
    const grows = waves.every(({ share, serials }, i) =>
      i === 0 ? share > 0 || serials.length > 0 : share > waves[i - 1]!.share,
    );
    promise(grows, 'a wave holds whom the one before held, and more');
    const times = waves.flatMap(({ soak, within, silence }) => [soak, within, silence]);
    promise(times.every(Number.isSafeInteger), 'times are whole seconds');
    return String(waves.length);
  });
}

/** The line with the sum that its bytes ask for, where it is a record at all. */
function hexSum(line: string): string {
  const [, digits, end] = /^:((?:[0-9A-Fa-f]{2}){4,}?)[0-9A-Fa-f]{2}(\r?)$/.exec(line) ?? [];
  if (digits === undefined) return line;
  const sum = Buffer.from(digits, 'hex').reduce((total, byte) => total + byte, 0);
  return `:${digits}${twoDigits(-sum & 0xff)}${end}`;
}

function sRecordSum(line: string): string {
  const [, type, digits, end] = /^S([0-9])((?:[0-9A-Fa-f]{2}){3,}?)[0-9A-Fa-f]{2}(\r?)$/.exec(line) ?? [];
  if (digits === undefined) return line;
  const sum = Buffer.from(digits, 'hex').reduce((total, byte) => total + byte, 0);
  return `S${type}${digits}${twoDigits(~sum & 0xff)}${end}`;
}

const twoDigits = (byte: number): string => byte.toString(16).padStart(2, '0').toUpperCase();
