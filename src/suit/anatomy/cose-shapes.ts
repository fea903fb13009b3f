import type { CborItem } from '../../cbor/index.ts';
import {
  contentAlgorithm,
  keyDistribution,
  LABEL,
  macAlgorithm,
  signatureAlgorithm,
} from '../../cose/index.ts';
import { counted } from './region.ts';
import { integerOf, named, type Part, type Shape, unknownPart } from './shape.ts';

const CERTIFICATE = named('X.509 certificate (DER)', 'RFC 5280 4.1');

/** x5chain: one certificate, or an array of them, signer first (RFC 9360 section 2). */
const CERTIFICATES: Shape = {
  title: 'X.509 certificate (DER), or several, signer first',
  clause: 'RFC 9360 2; RFC 5280 4.1',
  element: (index) => ({ name: `certificate-${index}`, shape: CERTIFICATE }),
};

const THUMBPRINT: Shape = {
  title: 'certificate thumbprint',
  clause: 'RFC 9360 2',
  element: (index) =>
    index === 0
      ? { name: 'algorithm', shape: named('hash algorithm', 'RFC 9360 2') }
      : { name: 'hash', shape: named('hash of the DER certificate', 'RFC 9360 2') },
};

/** A public key made for one message (RFC 9053 section 6.3.1), as COSE_Key (RFC 9052 section 7). */
const KEY_PARTS: ReadonlyMap<number, string> = new Map([
  [1, 'key type'],
  [-1, 'curve'],
  [-2, 'x coordinate'],
  [-3, 'y coordinate'],
]);
const EPHEMERAL_KEY: Shape = {
  title: 'ephemeral public key of the sender',
  clause: 'RFC 9053 6.3.1',
  entry: (key) => {
    const name = KEY_PARTS.get(integerOf(key) ?? 0);
    return name
      ? { name: name.replace(' ', '-'), shape: named(name, 'RFC 9053 7.1') }
      : unknownPart('key parameter', key);
  },
};

const HEADERS: ReadonlyMap<number, Part> = new Map([
  [LABEL.alg, { name: 'alg', shape: named('algorithm', 'RFC 9052 3.1', sayAlgorithm) }],
  [LABEL.crit, { name: 'crit', shape: named('labels that must be understood', 'RFC 9052 3.1') }],
  [LABEL.contentType, { name: 'content-type', shape: named('content type', 'RFC 9052 3.1') }],
  [LABEL.kid, { name: 'kid', shape: named('key identifier (a hint)', 'RFC 9052 3.1') }],
  [LABEL.iv, { name: 'iv', shape: named('initialization vector', 'RFC 9052 3.1') }],
  [
    LABEL.x5bag,
    { name: 'x5bag', shape: { ...CERTIFICATES, title: 'X.509 certificate (DER), or several in no order' } },
  ],
  [LABEL.x5chain, { name: 'x5chain', shape: CERTIFICATES }],
  [LABEL.x5t, { name: 'x5t', shape: THUMBPRINT }],
  [-1, { name: 'ephemeral-key', shape: EPHEMERAL_KEY }],
  [-20, { name: 'salt', shape: named('salt of the key derivation', 'RFC 9053 5.1') }],
  [LABEL.x5u, { name: 'x5u', shape: named('where to find the certificate', 'RFC 9360 2') }],
]);

/** Labels below this are for private use (IANA COSE Header Parameters registry). */
const LOWEST_REGISTERED_LABEL = -65536;

function headerPart(key: CborItem): Part {
  const label = integerOf(key);
  const known = label === undefined ? undefined : HEADERS.get(label);
  if (known) return known;
  if (label !== undefined && label < LOWEST_REGISTERED_LABEL) {
    const title = `private header ${label}, defined by the deployment profile`;
    return { name: String(label), shape: named(title, 'RFC 9052 3.1') };
  }
  return unknownPart('header', key);
}

function sayAlgorithm(item: CborItem): string | undefined {
  const id = integerOf(item);
  if (id === undefined) return undefined;
  const row = signatureAlgorithm(id) ?? macAlgorithm(id) ?? contentAlgorithm(id) ?? keyDistribution(id);
  return row && `${id} (${row.name})`;
}

const HEADER_MAP: Shape = { title: 'headers', clause: 'RFC 9052 3', entry: headerPart };
const PROTECTED: Part = {
  name: 'protected',
  shape: { title: 'protected headers', clause: 'RFC 9052 3', wraps: HEADER_MAP, mayBeEmpty: true },
};
const UNPROTECTED: Part = { name: 'unprotected', shape: { ...HEADER_MAP, title: 'unprotected headers' } };
const PAYLOAD: Part = {
  name: 'payload',
  shape: named('payload: nil, the digest of the manifest is signed detached', 'RFC 9052 4.1; [M] 8.3'),
};

/** An array of fixed parts; what follows them is named by the last. */
function arrayOf(title: string, clause: string, parts: readonly Part[]): Shape {
  return { title, clause, element: (index) => parts[index] ?? unknownPartAt(index) };
}

function unknownPartAt(index: number): Part {
  return { name: String(index), shape: named('an element beyond the structure', '') };
}

const leaf = (name: string, title: string, clause: string): Part => ({ name, shape: named(title, clause) });

const SIGNER = arrayOf('signer', 'RFC 9052 4.1', [
  PROTECTED,
  UNPROTECTED,
  leaf('signature', 'signature', 'RFC 9052 4.1'),
]);
const RECIPIENT = arrayOf('recipient', 'RFC 9052 5.1', [
  PROTECTED,
  UNPROTECTED,
  leaf('ciphertext', 'encrypted content key', 'RFC 9052 5.1'),
]);
const listOf = (name: string, title: string, one: Shape): Part => ({
  name,
  shape: { title, clause: one.clause, element: (index) => ({ name: String(index), shape: one }) },
});

const MESSAGES: ReadonlyMap<number | bigint, Shape> = new Map([
  [
    17,
    arrayOf('COSE_Mac0: MAC by a key both sides hold', 'RFC 9052 6.2', [
      PROTECTED,
      UNPROTECTED,
      PAYLOAD,
      leaf('tag', 'MAC', 'RFC 9052 6.2'),
    ]),
  ],
  [
    18,
    arrayOf('COSE_Sign1: one signature', 'RFC 9052 4.2', [
      PROTECTED,
      UNPROTECTED,
      PAYLOAD,
      leaf('signature', 'signature', 'RFC 9052 4.2'),
    ]),
  ],
  [
    97,
    arrayOf('COSE_Mac: MAC for several recipients', 'RFC 9052 6.1', [
      PROTECTED,
      UNPROTECTED,
      PAYLOAD,
      leaf('tag', 'MAC', 'RFC 9052 6.1'),
      listOf('recipients', 'recipients', RECIPIENT),
    ]),
  ],
  [
    98,
    arrayOf('COSE_Sign: several signatures', 'RFC 9052 4.1', [
      PROTECTED,
      UNPROTECTED,
      PAYLOAD,
      listOf('signers', 'signers', SIGNER),
    ]),
  ],
]);

/** SUIT_Encryption_Info: whom the content key is for, the ciphertext lies elsewhere ([FE] section 4). */
export const ENCRYPTION_INFO: Shape = {
  title: 'encryption info',
  clause: '[FE] 4',
  say: sayRecipients,
  tagged: (tag) => (tag === 96 ? ENCRYPT : named(`an item tagged ${tag}, no COSE_Encrypt`, '')),
};

const ENCRYPT = arrayOf('COSE_Encrypt: a content key for several recipients', 'RFC 9052 5.1', [
  PROTECTED,
  UNPROTECTED,
  leaf('ciphertext', 'ciphertext: nil, it is the payload', '[FE] 4'),
  listOf('recipients', 'recipients', RECIPIENT),
]);

function sayRecipients(item: CborItem): string | undefined {
  if (item.type !== 'tag' || item.item.type !== 'array') return undefined;
  const recipients = item.item.items[3];
  return recipients?.type === 'array' ? `for ${counted(recipients.items.length, 'recipient')}` : undefined;
}

/** A tagged COSE structure ([M] section 8.3). */
export const AUTHENTICATION_BLOCK: Shape = {
  title: 'authentication block',
  clause: '[M] 8.3',
  say: (item) => (item.type === 'tag' ? MESSAGES.get(item.tag)?.title : undefined),
  tagged: (tag) => MESSAGES.get(tag) ?? named(`an item tagged ${tag}, no COSE message known here`, ''),
};
