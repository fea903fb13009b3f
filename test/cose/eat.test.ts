/** RFC 9711 Appendix A: Entity Attestation Tokens, as CBOR and as COSE. Which examples the vector file holds is open. */
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { type CborItem, decode } from '../../src/cbor/index.ts';
import { decodeCose, type Sign1Message, verifySign1 } from '../../src/cose/index.ts';
import { p256Spki, readPublicKey, sha256 } from '../../src/crypto/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';

interface Case {
  id: string;
  kind: 'claims-set' | 'signed-token' | 'detached-eat-bundle';
  claims?: unknown;
  claimsHex?: string;
  tokenHex?: string;
  bundleHex?: string;
  payloadHex?: string;
  cwtTag?: number;
  recoveredPublicKeyCandidatesHex?: string[];
}

const cases: Case[] = vectorsPresent ? vectors('eat-rfc9711').cases : [];
const ofKind = (kind: Case['kind']) => cases.filter((each) => each.kind === kind);

/** Maps stand in the published order, which is not the deterministic one. */
const read = (hex: string) => decode(fromHex(hex), { sortedKeys: false });

describe.skipIf(!vectorsPresent)('RFC 9711 Appendix A', () => {
  it('every example is of a kind known here', () => {
    const kinds = (['claims-set', 'signed-token', 'detached-eat-bundle'] as const).map(ofKind);
    expect(kinds.flat().length).toBe(cases.length);
    expect(cases.length).toBeGreaterThan(0);
  });

  it.each(cases.filter(({ claims, claimsHex }) => claims && claimsHex))('$id: the claims', (each) => {
    expect(typed(read(each.claimsHex!))).toEqual(each.claims);
  });

  it.each(ofKind('signed-token'))('$id: a COSE_Sign1 over its claims', (each) => {
    const token = read(each.tokenHex!);
    if (token.type !== 'tag' || token.item.type !== 'tag') return expect.unreachable();
    expect([token.tag, token.item.tag]).toEqual([each.cwtTag, 18]);
    const { start, end } = token.item;
    const message = decodeCose(fromHex(each.tokenHex!).subarray(start, end)) as Sign1Message;
    expect(toHex(message.payload!)).toBe(each.payloadHex);
    expect(typed(read(each.payloadHex!))).toEqual(each.claims);
    for (const candidate of each.recoveredPublicKeyCandidatesHex ?? []) {
      const [x, y] = [candidate.slice(2, 66), candidate.slice(66)];
      const key = readPublicKey(p256Spki(fromHex(x), fromHex(y))!)!;
      expect(verifySign1(message, key, message.payload!)).toMatchObject({ ok: true });
      expect(verifySign1(message, key, fromHex(`${each.payloadHex}00`)).ok).toBe(false);
    }
  });

  it.each(ofKind('detached-eat-bundle'))('$id: the token holds the digest of what is detached', (each) => {
    const bundle = read(each.bundleHex!);
    if (bundle.type !== 'tag' || bundle.item.type !== 'array') return expect.unreachable();
    expect(bundle.tag).toBe(602);
    const [, detached] = bundle.item.items;
    if (detached?.type !== 'map') return expect.unreachable();
    expect(detached.entries.length).toBeGreaterThan(0);
    for (const { value } of detached.entries) {
      if (value.type !== 'bytes') return expect.unreachable();
      expect(each.bundleHex).toContain(toHex(sha256(value.value)));
    }
  });
});

/** An item in the typed JSON of the vector files. */
function typed(item: CborItem): unknown {
  switch (item.type) {
    case 'bytes':
      return { h: toHex(item.value) };
    case 'text':
      return { t: item.value };
    case 'array':
      return item.items.map(typed);
    case 'map':
      return { m: item.entries.map(({ key, value }) => [typed(key), typed(value)]) };
    case 'tag':
      return { tag: item.tag, v: typed(item.item) };
    default:
      return typeof item.value === 'bigint' ? { n: `${item.value}` } : item.value;
  }
}
