/** Steps 1 to 3: shell, signer and seal. Each case is sound but for the one thing its title names. */
import { fromHex, fromUtf8, sourceOf } from '../../../src/bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../../src/cbor/index.ts';
import { LABEL, sealSign1 } from '../../../src/cose/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import { checkAuthenticity } from '../../../src/unit/index.ts';
import { fingerprint, issuerOf, readSubjectKey } from '../../../src/x509/index.ts';
import { rawEnvelope, wrapperOf } from '../../suit/raw.ts';
import { DIGITAL_SIGNATURE, extension, keyUsage, rawCertificate } from '../../x509/rewrite.ts';
import { issue, type TestChain, testKey } from '../../x509/support.ts';
import {
  CLASS_KEY,
  COHORT_KEY,
  check,
  macedWith,
  makerChain,
  OTHER_CLASS,
  type Sealing,
  scopeOf,
  signedBy,
  signerOf,
  symmetricUnit,
  unitOf,
  VENT,
  x5chain,
} from '../maker.ts';
import { all, asking, by, hand, together } from '../policy-maker.ts';
import { rawRelease, sealedRaw } from '../raw-release.ts';
import type { Case } from './case.ts';

const chain = await makerChain();
const stranger = await makerChain();
const unit = unitOf(chain);
const manifest = rawRelease();
const wrapper = wrapperOf(manifest);

/** SubjectPublicKeyInfo of the signer of draft-ietf-suit-manifest Appendix B. */
const PUBLISHED_SPKI = fromHex(
  '3059301306072a8648ce3d020106082a8648ce3d03010703420004' +
    '8496811aae0baaabd26157189eecda26beaa8bf11b6f3fe6e2b5659c85dbc0ad' +
    '3b1f2a4b6c098131c0a36dacd1d78bd381dcdfb09c052db33991db7338b4a896',
);

const shell =
  (...entries: [CborValue, CborValue][]) =>
  async () =>
    check(unit, rawEnvelope(...entries));
const sealed =
  (seal: Sealing, by = unit, now?: Date) =>
  async () =>
    check(by, await sealedRaw(seal), undefined, now);

/** A COSE_Sign1 whose parts are put together by hand; the signature is one of 64 zero bytes. */
const rawSign1 = (authenticated: [CborValue, CborValue][], open: [CborValue, CborValue][]): Sealing => {
  const message = [encode(new CborMap(authenticated)), new CborMap(open), null, new Uint8Array(64)];
  return async () => [encode(new CborTag(18, message))];
};

/** The seal with the last byte of its first block changed: it is the signature's or the tag's. */
const spoiled =
  (seal: Sealing): Sealing =>
  async (digest) => {
    const [first, ...others] = await seal(digest);
    const block = first!.slice();
    block[block.length - 1]! ^= 1;
    return [block, ...others];
  };

/** A signature by `key` that comes with these certificates, bound by x5t to the first. */
const withCertificates = (signer: TestChain['keys']['signer'], ...certificates: Uint8Array[]): Sealing => {
  return async (payload) => [
    await sealSign1(signerOf(signer), {
      payload,
      protectedHeaders: [[LABEL.x5t, [-16, sha256(certificates[0]!)]]],
      unprotectedHeaders: [[LABEL.x5chain, x5chain(...certificates)]],
    }),
  ];
};

const { keys, signer, intermediate, root } = chain;

export const ENVELOPE_CASES: readonly Case[] = [
  {
    code: 'envelope-too-large',
    title: 'RFC 9124 4.3.21: more than a unit holds in memory',
    verdict: shell([2, wrapper], [3, new Uint8Array(70_000)]),
  },
  {
    code: 'envelope-malformed',
    title: '[M] 8.1: cut one byte short',
    verdict: async () => check(unit, (await sealedRaw(signedBy(chain))).slice(0, -1)),
  },
  {
    code: 'envelope-malformed',
    title: '[M] 8.1: one byte behind its end',
    verdict: async () => check(unit, Uint8Array.of(...(await sealedRaw(signedBy(chain))), 0)),
  },
  {
    code: 'envelope-malformed',
    title: 'no envelope at all: a picture',
    verdict: async () => check(unit, fromHex('89504e470d0a1a0a0000000d49484452')),
  },
  {
    code: 'envelope-element-unknown',
    title: '[M] 11.1: an element that nobody assigned',
    verdict: shell([2, wrapper], [3, manifest], [40, new Uint8Array(1)]),
  },
  {
    code: 'envelope-element-unknown',
    title: '[TD] 9.1: an element that this unit does not carry out',
    verdict: shell([2, wrapper], [3, manifest], [15, new Uint8Array(1)]),
  },
  { code: 'envelope-incomplete', title: '[M] 8.2: no manifest', verdict: shell([2, wrapper]) },
  {
    code: 'wrapper-after-manifest',
    title: '[M] 8.3: the wrapper must precede the manifest',
    verdict: shell([3, manifest], [2, wrapper]),
  },
  {
    code: 'authentication-block-malformed',
    title: '[M] 8.3: a block without a COSE tag',
    verdict: sealed(async () => [encode([new Uint8Array(), new CborMap([]), null, new Uint8Array(64)])]),
  },
  {
    code: 'authentication-block-malformed',
    title: '[M] 8.3: a block that carries a payload of its own',
    verdict: sealed(async (digest) => [
      encode(new CborTag(18, [new Uint8Array(), new CborMap([]), digest, new Uint8Array(64)])),
    ]),
  },
  {
    code: 'digest-algorithm-unknown',
    title: '[M] 10: SHA-384 is known by name and not provisioned',
    verdict: shell([2, encode([encode([-43, new Uint8Array(48)])])], [3, manifest]),
  },
  {
    code: 'manifest-digest-wrong',
    title: '[M] 8.3: the digest of another manifest',
    verdict: shell([2, wrapperOf(rawRelease({ number: 8 }))], [3, manifest]),
  },
  {
    code: 'manifest-digest-wrong',
    title: '[M] 8.3: a digest over the content without its byte string header',
    verdict: shell([2, encode([encode([-16, sha256(manifest)])])], [3, manifest]),
  },
];

const author = await hand('author');
const approver = await hand('approver');
const both = asking(all({ role: 'author' }, { role: 'approver' }));

const clocked = (record = {}) => unitOf(chain, { record: { clock: true, ...record } });

export const SIGNER_CASES: readonly Case[] = [
  {
    code: 'signer-missing',
    title: 'RFC 9360 2: no certificate comes with the signature',
    verdict: sealed(signedBy(chain, { unprotectedHeaders: [] })),
  },
  {
    code: 'signer-missing',
    title: 'a bare signature by the root itself is none of a signer',
    verdict: sealed(async (payload) => [await sealSign1(signerOf(keys.root), { payload })]),
  },
  {
    code: 'signer-chain-malformed',
    title: 'RFC 5280 4.1: not a certificate',
    verdict: sealed(withCertificates(keys.signer, fromUtf8('certificate'))),
  },
  {
    code: 'signer-chain-malformed',
    title: 'more certificates than are read',
    verdict: sealed(withCertificates(keys.signer, signer.der, ...new Array(8).fill(intermediate.der))),
  },
  {
    code: 'signer-not-bound',
    title: 'RFC 9360 2: x5chain unprotected and no x5t',
    verdict: sealed(signedBy(chain, { protectedHeaders: [] })),
  },
  {
    code: 'signer-thumbprint-wrong',
    title: 'RFC 9360 2: x5t of another certificate',
    verdict: sealed(signedBy(chain, { protectedHeaders: [[LABEL.x5t, [-16, sha256(intermediate.der)]]] })),
  },
  {
    code: 'signer-thumbprint-wrong',
    title: 'RFC 9360 2: x5t by a hash that is not provisioned (SHA-256/64)',
    verdict: sealed(
      signedBy(chain, { protectedHeaders: [[LABEL.x5t, [-15, sha256(signer.der).slice(0, 8)]]] }),
    ),
  },
  {
    code: 'signer-path-broken',
    title: 'RFC 5280 6.1.3 (a)(4): the certificate above is not the issuer',
    verdict: sealed(withCertificates(keys.signer, signer.der, signer.der)),
  },
  {
    code: 'signer-path-broken',
    title: 'RFC 5280 6.1.3 (a)(1): an authority of the same name under the same root, with another key',
    verdict: async () => {
      const part = { profile: 'intermediate', publicKey: testKey().spki, issuer: issuerOf(root) } as const;
      const namesake = await issue(part, keys.root);
      return check(unit, await sealedRaw(withCertificates(keys.signer, signer.der, namesake.der)));
    },
  },
  {
    code: 'signer-not-anchored',
    title: 'RFC 5280 6.1.1: another maker, whose names are the same',
    verdict: sealed(signedBy(stranger)),
  },
  {
    code: 'signer-not-anchored',
    title: 'RFC 9360 2: a self-signed root that comes along is no anchor',
    verdict: sealed(
      withCertificates(
        stranger.keys.signer,
        stranger.signer.der,
        stranger.intermediate.der,
        stranger.root.der,
      ),
    ),
  },
  {
    code: 'signer-not-anchored',
    title: 'RFC 5280 6.1.1: the intermediate is missing',
    verdict: sealed(withCertificates(keys.signer, signer.der)),
  },
  {
    code: 'signer-certificate-unsupported',
    title: 'RFC 5280 4.2: a critical extension that nobody here knows',
    verdict: async () => {
      const extensions = [extension('1.2.3.4', true, new Uint8Array([5, 0])), keyUsage(DIGITAL_SIGNATURE)];
      const odd = await rawCertificate(
        { spki: keys.signer.spki, extensions, issuer: root.subject },
        keys.root,
      );
      return check(unit, await sealedRaw(withCertificates(keys.signer, odd)));
    },
  },
  {
    code: 'signer-purpose-wrong',
    title: 'RFC 5280 4.2.1.12: an authority signs a release itself',
    verdict: sealed(withCertificates(keys.intermediate, intermediate.der)),
  },
  {
    code: 'signer-not-for-this-class',
    title: 'RFC 9124 4.3.13: a signer of another class under the same root',
    verdict: async () => {
      const other = await makerChain('p256', { scopes: [scopeOf(OTHER_CLASS)] });
      return check(unitOf(other), await sealedRaw(signedBy(other)));
    },
  },
  {
    code: 'signer-is-for-trial',
    title: 'a trial signer and a production unit',
    verdict: async () => {
      const trial = await makerChain('p256', { trial: true });
      return check(unitOf(trial), await sealedRaw(signedBy(trial)));
    },
  },
  {
    code: 'signer-key-published',
    title: 'the example key of [M] Appendix B, certified by mistake',
    verdict: async () => {
      const part = { profile: 'signer', publicKey: PUBLISHED_SPKI, scopes: [scopeOf(VENT)] } as const;
      const certified = await issue({ ...part, issuer: issuerOf(intermediate) }, keys.intermediate);
      return check(unit, await sealedRaw(withCertificates(keys.signer, certified.der, intermediate.der)));
    },
  },
  {
    code: 'signer-denied',
    title: 'RFC 9124 4.3.18: the key of the signer was revoked',
    verdict: sealed(signedBy(chain), unitOf(chain, { state: { deniedSigners: [fingerprint(signer.spki)] } })),
  },
  {
    code: 'signer-denied',
    title: 'RFC 9124 4.3.18: the key of the intermediate was revoked',
    verdict: sealed(
      signedBy(chain),
      unitOf(chain, { state: { deniedSigners: [fingerprint(intermediate.spki)] } }),
    ),
  },
  {
    code: 'signer-generation-too-low',
    title: 'the minimum generation was raised above the signer',
    verdict: sealed(
      signedBy(chain),
      unitOf(chain, { state: { floors: { sequenceNumber: 0n, securityVersion: 0, signerGeneration: 2 } } }),
    ),
  },
  {
    code: 'signer-expired',
    title: 'RFC 5280 4.1.2.5: past the last day, by the clock of the unit',
    verdict: sealed(signedBy(chain), clocked(), new Date('2040-01-01T00:00:00Z')),
  },
  {
    code: 'signer-not-yet-valid',
    title: 'RFC 5280 4.1.2.5: before the first day, by the clock of the unit',
    verdict: sealed(signedBy(chain), clocked(), new Date('2020-01-01T00:00:00Z')),
  },
  {
    code: 'signatures-too-many',
    title: 'RFC 9124 4.3.21: more signatures than a unit with a policy looks at',
    verdict: sealed(together(by(approver), ...new Array(8).fill(by(author))), both),
  },
  {
    code: 'mac-key-unknown',
    title: 'RFC 9052 3.1: the MAC names a key that the unit does not hold',
    verdict: sealed(macedWith(COHORT_KEY), symmetricUnit([CLASS_KEY])),
  },
];

const edwards = await makerChain('ed25519');

export const AUTHENTICATION_CASES: readonly Case[] = [
  {
    code: 'authentication-missing',
    title: '[M] 8.3: a digest and no block',
    verdict: sealed(async () => []),
  },
  {
    code: 'authentication-missing',
    title: '[M] 8.3: a digest and no block, under a key',
    verdict: async () => {
      const envelope = sourceOf(await sealedRaw(async () => []));
      return checkAuthenticity({ envelope, key: readSubjectKey(keys.signer.spki)! });
    },
  },
  {
    code: 'scheme-wrong',
    title: '[MTI] 5.2: a MAC for a unit that takes signatures',
    verdict: sealed(macedWith(CLASS_KEY)),
  },
  {
    code: 'scheme-wrong',
    title: '[MTI] 5.2: a signature for a unit that takes MACs',
    verdict: sealed(signedBy(chain), symmetricUnit([CLASS_KEY])),
  },
  {
    code: 'scheme-wrong',
    title: 'a MAC made with the bytes of the public key is no signature by it',
    verdict: async () => {
      const { spki } = keys.signer;
      const envelope = sourceOf(await sealedRaw(macedWith({ id: sha256(spki), key: spki })));
      return checkAuthenticity({ envelope, key: readSubjectKey(spki)! });
    },
  },
  {
    code: 'algorithm-not-protected',
    title: 'RFC 9052 3.1: alg in the unprotected header',
    verdict: sealed(
      rawSign1(
        [[LABEL.x5t, [-16, sha256(signer.der)]]],
        [
          [LABEL.alg, -9],
          [LABEL.x5chain, x5chain(signer.der, intermediate.der)],
        ],
      ),
    ),
  },
  {
    code: 'algorithm-not-allowed',
    title: '[MTI] 5.2: Ed25519 for a unit of the ESP256 profile',
    verdict: sealed(signedBy(edwards, {}, 'ed25519'), unitOf(edwards)),
  },
  {
    code: 'algorithm-not-allowed',
    title: 'RFC 9864: ES256 (-7) is not ESP256 (-9)',
    verdict: sealed(
      rawSign1(
        [
          [LABEL.alg, -7],
          [LABEL.x5t, [-16, sha256(signer.der)]],
        ],
        [[LABEL.x5chain, x5chain(signer.der, intermediate.der)]],
      ),
    ),
  },
  {
    code: 'header-critical-unknown',
    title: 'RFC 9052 3.1: a critical header that the unit does not know',
    verdict: sealed(
      signedBy(chain, {
        protectedHeaders: [
          [LABEL.crit, [-70_999]],
          [LABEL.x5t, [-16, sha256(signer.der)]],
          [-70_999, 1],
        ],
      }),
    ),
  },
  {
    code: 'key-type-wrong',
    title: 'RFC 9053 2.1: ESP256 named for an Ed25519 key',
    verdict: sealed(
      rawSign1(
        [
          [LABEL.alg, -9],
          [LABEL.x5t, [-16, sha256(edwards.signer.der)]],
        ],
        [[LABEL.x5chain, x5chain(edwards.signer.der, edwards.intermediate.der)]],
      ),
      unitOf(edwards),
    ),
  },
  {
    code: 'signature-wrong',
    title: 'RFC 9052 4.4: one bit of the signature',
    verdict: sealed(spoiled(signedBy(chain))),
  },
  {
    code: 'signature-wrong',
    title: 'RFC 9052 4.4: a key without the certificate it claims',
    verdict: sealed(withCertificates(testKey(), signer.der, intermediate.der)),
  },
  {
    code: 'authentications-too-few',
    title: '[M] 8.3: the approver’s block was stripped',
    verdict: sealed(by(author), both),
  },
  {
    code: 'role-missing',
    title: 'RFC 9124 4.3.13: two authors and no approver',
    verdict: sealed(together(by(author), by(await hand('author'))), both),
  },
  {
    code: 'security-versions-differ',
    title: 'RFC 9124 4.2.1: the approver vouches for no floor',
    verdict: sealed(together(by(author, { securityVersion: 2 }), by(approver)), both),
  },
  {
    code: 'mac-wrong',
    title: 'RFC 9052 6.3: the right key id, another key',
    verdict: sealed(macedWith({ id: CLASS_KEY.id, key: COHORT_KEY.key }), symmetricUnit([CLASS_KEY])),
  },
  {
    code: 'mac-wrong',
    title: 'RFC 9052 6.3: one bit of the tag',
    verdict: sealed(spoiled(macedWith(CLASS_KEY)), symmetricUnit([CLASS_KEY])),
  },
];
