import { fromHex } from '../bytes/index.ts';
import { readPublicKey, spentLeaf } from '../crypto/index.ts';
import type { KeyDescription } from '../keys/index.ts';
import type { Json, JsonObject } from './canonical.ts';
import { readLedger } from './ledger.ts';
import { listRecords, type RecordFolder, readRecordFile } from './records.ts';
import type { Workspace } from './workspace.ts';

// Records of what is signed: payloads, and the requests and certificates of ceremonies.
const SIGNED: readonly RecordFolder[] = ['releases', 'ceremonies', 'trust-updates'];

/** A leaf of an HSS/LMS key that something on record names. */
export interface LeafWitness {
  readonly leaf: bigint;
  /** What names it. */
  readonly by: string;
}

/** What a ledger entry or record says in its member `leaves` of one leaf that was used. */
export interface LeafUse {
  readonly key: string;
  readonly fingerprint: string;
  readonly leaf: bigint;
}

/** What a signature used up of its key, to be put on record; nothing for a key that is not HSS/LMS. */
export function leafUsesOf(description: KeyDescription, signature: Uint8Array): LeafUse[] {
  const key = description.spki && readPublicKey(fromHex(description.spki));
  const spent = key && spentLeaf(key, signature);
  return spent ? [{ key: description.name, fingerprint: description.fingerprint, leaf: spent.leaf }] : [];
}

/** The member `leaves` of the facts of a ledger entry or record: a leaf's number is decimal text. */
export function leavesJson(uses: readonly LeafUse[]): JsonObject[] {
  return uses.map(({ key, fingerprint, leaf }) => ({ key, fingerprint, leaf: String(leaf) }));
}

/** The highest leaf of a key that the ledger or any record names; undefined where none does. */
export function highestLeafWitness(workspace: Workspace, fingerprint: string): LeafWitness | undefined {
  return [...witnesses(workspace, fingerprint)].reduce<LeafWitness | undefined>(
    (highest, next) => (highest && highest.leaf >= next.leaf ? highest : next),
    undefined,
  );
}

/** The leaves that facts name, whoever wrote them; what is not in that form names none. */
export function leavesIn(facts: JsonObject): LeafUse[] {
  return Array.isArray(facts.leaves) ? facts.leaves.flatMap(leafUse) : [];
}

function* witnesses(workspace: Workspace, fingerprint: string): Generator<LeafWitness> {
  const named = (facts: JsonObject, by: string) =>
    leavesIn(facts)
      .filter((use) => use.fingerprint === fingerprint)
      .map(({ leaf }) => ({ leaf, by }));
  for (const entry of readLedger(workspace)) yield* named(entry.facts, `ledger entry ${entry.number}`);
  for (const folder of SIGNED) {
    for (const record of listRecords(workspace, folder)) {
      const path = `${folder}/${record}.json`;
      yield* named(readRecordFile(workspace, path).facts, path);
    }
  }
}

function leafUse(value: Json): LeafUse[] {
  const { key, fingerprint, leaf } = (value ?? {}) as JsonObject;
  const sound = typeof key === 'string' && typeof fingerprint === 'string' && typeof leaf === 'string';
  return sound && /^\d{1,19}$/.test(leaf) ? [{ key, fingerprint, leaf: BigInt(leaf) }] : [];
}
