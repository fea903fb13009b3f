import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { fromUtf8, toHex } from '../../src/bytes/index.ts';
import { CborMap, type CborValue, encode } from '../../src/cbor/index.ts';
import {
  type AgreementAlgorithm,
  contentAlgorithm,
  heldMacKey,
  keyDistribution,
  LABEL,
  recipientSize,
  sealMac0,
  type WrapAlgorithm,
} from '../../src/cose/index.ts';
import {
  DOWNLOAD_COMPONENT,
  deltaUris,
  formatUuid,
  integratedUris,
  MAIN_COMPONENT,
  POLICY_COMPONENT,
  PRECURSOR_COMPONENT,
  parametersValue,
  STAGING_COMPONENT,
  SUIT_LIMITS,
} from '../../src/suit/index.ts';
import {
  DECRYPTION_KEY_ID_LENGTH,
  encodeTrustPolicy,
  MAXIMUM_SECURITY_VERSION,
  REFUSALS,
  SECURITY_VERSION_LABEL,
  UNIT_LIMITS,
} from '../../src/unit/index.ts';
import { der, OID, TRIAL_MARK } from '../../src/x509/index.ts';
import { encrypted, KEK, toHolders } from './encrypted.ts';
import { makerChain, VENDOR, VENT } from './maker.ts';

const page = readFileSync(new URL('../../docs/deployment-profile.md', import.meta.url), 'utf8');
const HASH = new Uint8Array(32).fill(0x11);

/** The hexadecimal of a value, split at the bytes that the page leaves open. */
function shown(value: CborValue): string[] {
  return toHex(encode(value))
    .split(toHex(HASH))
    .filter((part) => part !== '');
}

const map = (...entries: [CborValue, CborValue][]) => new CborMap(entries);
const X5T: [CborValue, CborValue] = [LABEL.x5t, [-16, HASH]];

describe('docs/deployment-profile.md says what is built', () => {
  it.each([
    ['protected header of a signature', map([LABEL.alg, -9], X5T)],
    ['protected header with a security version', map([LABEL.alg, -9], X5T, [SECURITY_VERSION_LABEL, 2])],
    ['protected header of a MAC', map([LABEL.alg, 5])],
    ['components', [[...MAIN_COMPONENT]]],
    ['components with a staging area', [[...MAIN_COMPONENT], [...STAGING_COMPONENT]]],
    ['components where a ciphertext passes through', [[...MAIN_COMPONENT], [...DOWNLOAD_COMPONENT]]],
    ['slots', map([5, 1])],
    ['URI of an integrated image', integratedUris('remapped')[0]!],
    ['URI of an integrated delta', deltaUris('remapped')[0]!],
    ['what a delta is applied to', PRECURSOR_COMPONENT[0]!],
  ] as [string, CborValue][])('%s', (_name, value) => {
    for (const part of shown(value)) expect(page).toContain(`\`${part}\``);
  });

  it('digest and size', () => {
    const [before, after] = shown(map([3, encode([-16, HASH])], [14, 5000]));
    expect(page).toContain(`\`${before!.slice(0, 4)}\` \`${before!.slice(4)}\``);
    expect(page).toContain(`\`${after}\``);
  });

  it('delta info', () => {
    const value = parametersValue({ [-257]: { format: 1, window: 4096, precursor: 2 } });
    expect(page).toContain(`\`${toHex(encode(value)).slice(2)}\``);
  });

  it('the certificate of a signer', async () => {
    const { signer } = await makerChain();
    const values = new Map(signer.extensions.map(({ oid, value }) => [oid, toHex(value)]));
    for (const oid of [OID.basicConstraints, OID.keyUsage, OID.extKeyUsage]) {
      expect(page).toContain(`\`${values.get(oid)}\``);
    }
    expect(values.get(OID.subjectAltName)).toBe(`302f862d${toHex(fromUtf8(`urn:uuid:${formatUuid(VENT)}`))}`);
    expect(page).toContain(toHex(fromUtf8(`urn:uuid:${formatUuid(VENT)}`)));
    expect(page).toContain(`\`${OID.signerGeneration}\``);
    expect(page).toContain(`\`${toHex(der.oid(OID.signerGeneration))}\``);
    expect(page).toContain(`\`${values.get(OID.signerGeneration)}\``);
    expect(page).toContain(`\`${OID.signerRole}\``);
    expect(page).toContain(`\`${toHex(der.oid(OID.signerRole))}\``);
    expect(page).toContain(`\`${toHex(der.utf8String('approver'))}\``);
    expect(page).toContain(`OU=${TRIAL_MARK}`);
  });

  it('the purpose of a trust signer, the policy component, and a policy', () => {
    const denied = toHex(HASH);
    const policy = toHex(
      encodeTrustPolicy({ minimumGeneration: 1, denied: [denied], retired: [], securityVersion: 0 }),
    );
    expect(page).toContain(`\`${OID.trustUpdate}\``);
    expect(page).toContain(`\`${toHex(der.sequence(der.oid(OID.trustUpdate)))}\``);
    expect(page).toContain(`\`${toHex(encode([[...POLICY_COMPONENT]]))}\``);
    for (const part of policy.split(denied)) expect(page).toContain(`\`${part}\``);
    expect(page).toContain(`${UNIT_LIMITS.denied.value} and ${UNIT_LIMITS.roots.value} at most`);
  });

  it('identifiers, labels and bounds', () => {
    for (const text of [formatUuid(VENDOR), formatUuid(VENT)]) expect(page).toContain(`\`${text}\``);
    expect(page).toContain(`label ${SECURITY_VERSION_LABEL}`);
    expect(page).toContain(`up to ${MAXIMUM_SECURITY_VERSION}`);
    expect(SUIT_LIMITS).toMatchObject({
      wrapperSize: 64 * 1024,
      manifestSize: 64 * 1024,
      severedSize: 256 * 1024,
      blocks: 512,
      envelopeEntries: 32,
    });
  });

  it('what a cohort costs in the wrapper', async () => {
    const block = await sealMac0(heldMacKey(new Uint8Array(8), HASH), { payload: HASH });
    expect(page).toContain(`${encode(block).length} bytes each in the wrapper`);
  });

  it('an encryption info, and what a recipient costs in it', async () => {
    const info = toHex((await encrypted(HASH, [toHolders(KEK)])).encryption.info);
    expect(page).toContain(`\`${info.slice(0, info.indexOf('0550') + 4)}\``);
    const each = (distribution: number, content: number, keyIdLength?: number) => {
      const algorithm = keyDistribution(distribution) as WrapAlgorithm | AgreementAlgorithm;
      return recipientSize({ algorithm, keyIdLength }, contentAlgorithm(content)!);
    };
    const length = DECRYPTION_KEY_ID_LENGTH;
    expect(page).toContain(`${each(-29, -65534, length)} bytes each (${each(-29, -65534)} without kid)`);
    expect(page).toContain(
      `${each(-3, -65534, length)} bytes each with A128KW, ${each(-5, -65532, length)} with A256KW`,
    );
  });

  it('it names no refusal that the table does not have', () => {
    const codes = new Set<string>(REFUSALS.map(({ code }) => code));
    const named = page.match(/`[a-z]+(?:-[a-z]+)+`/g)!.map((code) => code.slice(1, -1));
    expect(named.length).toBeGreaterThan(10);
    expect(named.filter((code) => !codes.has(code))).toEqual([]);
  });
});
