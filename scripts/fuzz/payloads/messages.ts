/** Encrypted messages around what is offered: encrypted to the unit, then sealed outside (RFC 9052 sections 5.1 and 5.3). */
import { createCipheriv } from 'node:crypto';
import {
  type AeadAlgorithm,
  contentAlgorithm,
  type Recipient,
  sealEncrypt,
} from '../../../src/cose/index.ts';
import { encStructure } from '../../../src/cose/structures.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import { changeAt, childrenOf, type Node, treeOf, write } from '../cbor-tree.ts';
import type { Authority } from './authority.ts';

/** Puts envelopes into messages. The same envelope gives the same encryption. */
export interface Messenger {
  /** A COSE_Encrypt around the envelope. Anybody can make one who knows whom to send it to. */
  encrypted(envelope: Uint8Array): Uint8Array;
  /** The same, sealed outside by the unit's authority. */
  around(envelope: Uint8Array): Uint8Array;
}

const COSE_ENCRYPT = 96;
const IV_LENGTH = 12;
/** TEST KEY: the one content key of all messages. */
const CONTENT_KEY = sha256(Uint8Array.of(0xf1)).slice(0, 16);

/** For one recipient; its layer is made once, for that takes most of the time. */
export async function messengerTo(recipient: Recipient, authority: Authority): Promise<Messenger> {
  const algorithm = contentAlgorithm('A128GCM') as AeadAlgorithm;
  const random = (length: number) => CONTENT_KEY.slice(0, length);
  const template = treeOf(
    await sealEncrypt({ algorithm, recipients: [recipient], random, plaintext: new Uint8Array(1) }),
  )!;
  const aad = encStructure(protectedOf(template));
  const encrypted = (envelope: Uint8Array): Uint8Array => {
    const iv = sha256(envelope).slice(0, IV_LENGTH);
    const withIv = changeAt(template, [0, 1, 1], () => bytes(iv));
    return write(changeAt(withIv, [0, 2], () => bytes(sealedContent(envelope, iv, aad))));
  };
  return { encrypted, around: (envelope) => authority.around(encrypted(envelope), COSE_ENCRYPT) };
}

function protectedOf(message: Node): Uint8Array {
  const [headers] = childrenOf(childrenOf(message)[0]!);
  return write(childrenOf(headers!)[0]!);
}

function sealedContent(plaintext: Uint8Array, iv: Uint8Array, aad: Uint8Array): Uint8Array {
  const cipher = createCipheriv('aes-128-gcm', CONTENT_KEY, iv);
  cipher.setAAD(aad);
  const body = cipher.update(plaintext);
  return new Uint8Array(Buffer.concat([body, cipher.final(), cipher.getAuthTag()]));
}

const bytes = (value: Uint8Array): Node => ({ kind: 'bytes', value });
