/** Certificate policies, RFC 5280 6.1; the long tables are NIST PKITS 4.8 to 4.12, in pkits.test.ts. */
import { describe, expect, test } from 'vitest';
import { type Certificate, der, OID, validatePath } from '../../src/x509/index.ts';
import { basicConstraints, extension, rawParsed } from './rewrite.ts';
import { anchorOf, issue, named, testKey } from './support.ts';

const keys = [testKey(), testKey(), testKey(), testKey()] as const;
const root = await issue({ profile: 'root', publicKey: keys[0].spki }, keys[0]);
const [A, B, C] = ['2.25.101', '2.25.102', '2.25.103'] as const;
const ANY = OID.anyPolicy;

const policies = (...oids: string[]) =>
  extension(OID.certificatePolicies, false, der.sequence(...oids.map((oid) => der.sequence(der.oid(oid)))));
const mapping = (...pairs: [string, string][]) =>
  extension(
    OID.policyMappings,
    true,
    der.sequence(...pairs.map(([from, to]) => der.sequence(der.oid(from), der.oid(to)))),
  );
const requireExplicit = (after: number) =>
  extension(OID.policyConstraints, true, der.sequence(der.primitive(0, Uint8Array.of(after))));
const inhibitMapping = (after: number) =>
  extension(OID.policyConstraints, true, der.sequence(der.primitive(1, Uint8Array.of(after))));
const inhibitAny = (after: number) => extension(OID.inhibitAnyPolicy, true, der.integer(after));

/** A path whose certificates, authorities from the anchor down and the signer last, have these extensions. */
async function judge(
  path: Uint8Array[][],
  demands: Parameters<typeof validatePath>[0]['policies'] = { explicitPolicy: true },
): Promise<string> {
  const chain: Certificate[] = [];
  for (const [i, extensions] of path.entries()) {
    const last = i === path.length - 1;
    const subject = named(`policy ${i + 1}`);
    const own = last ? extensions : [basicConstraints(true), ...extensions];
    const issuer = chain[0]?.subject ?? root.subject;
    chain.unshift(
      await rawParsed(
        { issuer, subject, spki: keys[i + 1]!.spki, ...(own.length ? { extensions: own } : {}) },
        keys[i]!,
      ),
    );
  }
  const verdict = validatePath({ chain, anchors: [anchorOf(root)], policies: demands });
  return verdict.ok ? 'ok' : `${verdict.code} ${verdict.certificate}`;
}

describe('RFC 5280 6.1.3 (d) to (f), 6.1.5 (g): a policy along the whole path', () => {
  test('nothing is asked where nobody asks', async () => {
    expect(await judge([[policies(A)], [policies(B)]], {})).toBe('ok');
    expect(await judge([[], []], {})).toBe('ok');
  });

  test('where one is asked for, all certificates must share it', async () => {
    expect(await judge([[policies(A)], [policies(A, B)]])).toBe('ok');
    expect(await judge([[policies(A)], [policies(B)]])).toBe('policy-not-satisfied 0');
    expect(await judge([[policies(A)], []])).toBe('policy-not-satisfied 0');
    expect(await judge([[], [policies(A)]])).toBe('policy-not-satisfied 1');
  });

  test('anyPolicy covers every policy, unless it is inhibited', async () => {
    expect(await judge([[policies(ANY)], [policies(A)]])).toBe('ok');
    expect(await judge([[policies(A)], [policies(ANY)]])).toBe('ok');
    expect(await judge([[policies(A), inhibitAny(0)], [policies(ANY)]])).toBe('policy-not-satisfied 0');
    expect(await judge([[policies(A), inhibitAny(1)], [policies(ANY)]])).toBe('ok');
    expect(
      await judge([[policies(ANY)], [policies(A)]], { explicitPolicy: true, inhibitAnyPolicy: true }),
    ).toBe('policy-not-satisfied 1');
  });

  test('only accepted policies count', async () => {
    const path = [[policies(A, B)], [policies(A)]];
    expect(await judge(path, { explicitPolicy: true, initialPolicySet: [A, C] })).toBe('ok');
    expect(await judge(path, { explicitPolicy: true, initialPolicySet: [B] })).toBe('policy-not-satisfied 0');
    expect(
      await judge([[policies(ANY)], [policies(ANY)]], { explicitPolicy: true, initialPolicySet: [B] }),
    ).toBe('ok');
    expect(await judge(path, { initialPolicySet: [B] })).toBe('ok');
  });
});

describe('RFC 5280 6.1.4: what an authority asks of those below it', () => {
  test('(i) requireExplicitPolicy, at once and after one more certificate', async () => {
    expect(await judge([[policies(A), requireExplicit(0)], []], {})).toBe('policy-not-satisfied 0');
    expect(await judge([[policies(A), requireExplicit(1)], []], {})).toBe('policy-not-satisfied 0');
    expect(await judge([[policies(A), requireExplicit(2)], []], {})).toBe('ok');
    expect(await judge([[policies(A)], [requireExplicit(0)]], {})).toBe('policy-not-satisfied 0');
  });

  test('(b) a mapping carries a policy over, in the terms of the anchor', async () => {
    const path = [[policies(A), mapping([A, B])], [policies(B)]];
    expect(await judge(path, { explicitPolicy: true, initialPolicySet: [A] })).toBe('ok');
    expect(await judge(path, { explicitPolicy: true, initialPolicySet: [B] })).toBe('policy-not-satisfied 0');
    expect(await judge([[policies(A), mapping([A, B])], [policies(A)]])).toBe('policy-not-satisfied 0');
    expect(
      await judge([[policies(ANY), mapping([A, B])], [policies(B)]], {
        explicitPolicy: true,
        initialPolicySet: [A],
      }),
    ).toBe('ok');
  });

  test('(a) anyPolicy cannot be mapped', async () => {
    expect(await judge([[policies(A), mapping([ANY, B])], [policies(B)]], {})).toBe('policy-not-satisfied 1');
    expect(await judge([[policies(A), mapping([A, ANY])], [policies(A)]], {})).toBe('policy-not-satisfied 1');
  });

  test('(b)(2), (i) a mapping that is inhibited takes the policy away', async () => {
    const mapped = [[policies(A, C), mapping([A, B])], [policies(B)]];
    expect(await judge(mapped, { explicitPolicy: true, inhibitMapping: true })).toBe(
      'policy-not-satisfied 0',
    );
    const below = (after: number) => [
      [policies(A), inhibitMapping(after)],
      [policies(A), mapping([A, B])],
      [policies(B)],
    ];
    expect(await judge(below(0))).toBe('policy-not-satisfied 0');
    expect(await judge(below(1))).toBe('ok');
  });
});
