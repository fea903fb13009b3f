import type { CborItem } from '../cbor/index.ts';
import {
  CLAIM,
  COMPARISON_RESULTS,
  DEBUG_STATES,
  type EatClaims,
  type FormattedMeasurement,
  type ResultGroup,
  type RunningSoftware,
  type ToldBoot,
} from './claims.ts';
import { ATTESTATION_LIMITS, NONCE_BYTES } from './limits.ts';
import { bigOf, bytesOf, countOf, decodeBounded, elementsOf, listOf, textOf, wrong } from './read-item.ts';

const UEID = { least: 7, most: 33 } as const;
const HWMODEL = { least: 1, most: 32 } as const;
const OEMID_LENGTHS: ReadonlySet<number> = new Set([3, 16]);
const BOOTSEED = { least: 1, most: 64 } as const;
const MOST_FORMAT = 0xffff;
const KNOWN: ReadonlySet<number | bigint> = new Set(Object.values(CLAIM));
const DIGEST_LENGTH = 32;

/**
 * Reads the claims set of a token: each known claim must be of its type (RFC 9711 section 4.2), the others are only
 * counted, for claims that are not understood must be ignored. Keys may stand in any order: RFC 9711 asks for none.
 * Throws `AttestationError` and nothing else.
 */
export function readClaims(bytes: Uint8Array): EatClaims {
  const item = decodeBounded(bytes, ATTESTATION_LIMITS.tokenSize, { sortedKeys: false });
  const claims = elementsOf(item, 'a claims set');
  const optional = <T>(key: number, read: (value: CborItem) => T): T | undefined => {
    const value = claims.get(key);
    return value && read(value);
  };
  return {
    nonces: optional(CLAIM.nonce, readNonces) ?? [],
    ueid: optional(CLAIM.ueid, (value) => bytesOf(value, 'ueid', UEID.least, UEID.most)),
    oemid: optional(CLAIM.oemid, readOemid),
    hwmodel: optional(CLAIM.hwmodel, (value) => bytesOf(value, 'hwmodel', HWMODEL.least, HWMODEL.most)),
    dbgstat: optional(
      CLAIM.dbgstat,
      (value) => DEBUG_STATES[countOf(value, 'dbgstat', DEBUG_STATES.length - 1)],
    ),
    profile: optional(CLAIM.profile, readProfile),
    bootcount: optional(CLAIM.bootcount, (value) => countOf(value, 'bootcount')),
    bootseed: optional(CLAIM.bootseed, (value) => bytesOf(value, 'bootseed', BOOTSEED.least, BOOTSEED.most)),
    swname: optional(CLAIM.swname, (value) => textOf(value, 'swname')),
    swversion: optional(CLAIM.swversion, readVersion),
    measurements: optional(CLAIM.measurements, readMeasurements) ?? [],
    results: optional(CLAIM.measres, readResults) ?? [],
    software: optional(CLAIM.software, readSoftware),
    boots: optional(CLAIM.boots, readBoots) ?? [],
    others: [...claims.keys()].filter((key) => !KNOWN.has(key)),
  };
}

function readNonces(item: CborItem): Uint8Array[] {
  const list = item.type === 'array' ? listOf(item, 'eat_nonce', 2, ATTESTATION_LIMITS.nonces) : [item];
  return list.map((each) => bytesOf(each, 'eat_nonce', NONCE_BYTES.least, NONCE_BYTES.most));
}

/** RFC 9711 section 4.2.3: a private enterprise number, an identifier of the IEEE, or 16 random bytes. */
function readOemid(item: CborItem): Uint8Array | number {
  if (item.type === 'uint') return countOf(item, 'oemid');
  if (item.type === 'bytes' && OEMID_LENGTHS.has(item.value.length)) return item.value;
  throw wrong(item, 'oemid', 'an enterprise number, or 3 or 16 bytes');
}

function readProfile(item: CborItem): string | Uint8Array {
  if (item.type === 'bytes') return bytesOf(item, 'eat_profile', 1, ATTESTATION_LIMITS.textSize);
  return textOf(item, 'eat_profile');
}

/** The version scheme that may follow is not read: versions are compared as texts. */
function readVersion(item: CborItem): string {
  return textOf(listOf(item, 'swversion', 1, 2)[0]!, 'the version of swversion');
}

function readMeasurements(item: CborItem): FormattedMeasurement[] {
  return listOf(item, 'measurements', 1, ATTESTATION_LIMITS.measurements).map((each) => {
    const [format, body] = listOf(each, 'a measurement', 2, 2);
    return {
      format: countOf(format!, 'the content format of a measurement', MOST_FORMAT),
      body: bytesOf(body!, 'the body of a measurement', 0, ATTESTATION_LIMITS.tokenSize),
    };
  });
}

function readResults(item: CborItem): ResultGroup[] {
  return listOf(item, 'measres', 1, ATTESTATION_LIMITS.results).map((each) => {
    const [system, results] = listOf(each, 'a group of measres', 2, 2);
    return {
      system: textOf(system!, 'the system of measres'),
      results: listOf(results!, 'the results of measres', 1, ATTESTATION_LIMITS.results).map(readResult),
    };
  });
}

function readResult(item: CborItem): ResultGroup['results'][number] {
  const [id, result] = listOf(item, 'a result of measres', 2, 2);
  const number = countOf(result!, 'a result of measres', COMPARISON_RESULTS.length);
  const found = COMPARISON_RESULTS[number - 1];
  if (!found) throw wrong(result!, 'a result of measres', `1 to ${COMPARISON_RESULTS.length}`);
  return { id: id!.type === 'bytes' ? '(bytes)' : textOf(id!, 'an identifier of measres'), result: found };
}

function readSoftware(item: CborItem): RunningSoftware {
  const [digest, number] = listOf(item, 'the software claim', 2, 2);
  return {
    manifestDigest: bytesOf(digest!, 'the digest of a manifest', DIGEST_LENGTH),
    sequenceNumber: bigOf(number!, 'a sequence number'),
  };
}

function readBoots(item: CborItem): ToldBoot[] {
  return listOf(item, 'the boot records', 1, ATTESTATION_LIMITS.boots).map((each) => {
    const [count, kind, runs, sequenceNumber, failures] = listOf(each, 'a boot record', 5, 5);
    const told = textOf(kind!, 'the kind of a boot record');
    if (told !== 'start' && told !== 'self-check') throw wrong(kind!, 'the kind', 'start or self-check');
    const nothing = runs!.type === 'simple' && runs!.value === null;
    return {
      count: countOf(count!, 'a boot count'),
      kind: told,
      runs: nothing ? undefined : textOf(runs!, 'what runs'),
      sequenceNumber: bigOf(sequenceNumber!, 'a sequence number'),
      failures: listOf(failures!, 'failures', 0, 4).map((failure) => textOf(failure, 'a failure')),
    };
  });
}
