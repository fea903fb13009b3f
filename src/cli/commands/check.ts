import { createPublicKey } from 'node:crypto';
import { fromHex } from '../../bytes/index.ts';
import { isSoundKey, type PublicKey, readPublicKey } from '../../crypto/index.ts';
import { checkAuthenticity, checkForUnit, toJson, type Verdict } from '../../unit/index.ts';
import { type FileSource, fileSource, readSmall } from '../../workspace/index.ts';
import { DerError, fromPem, parseCertificate, X509Error } from '../../x509/index.ts';
import { timeOf } from '../date.ts';
import { wrongUse } from '../exit.ts';
import { type OpenParts, openParts } from '../parts.ts';
import { showAnswer, showFacts, showSteps, statusOf } from '../show-verdict.ts';
import type { Call } from '../spec.ts';
import { readUnitSession } from '../unit-session.ts';

const JUDGES = ['unit', 'key', 'mac-key-file'] as const;
const LARGEST_KEY_FILE = 65_536;
const PEM_MARK = '-----BEGIN ';
const HMAC_KEY_LENGTH = 32;
const HEX_TEXT = /^(?:[0-9a-fA-F]{2}\s*)+$/;

interface Files {
  readonly envelope: FileSource;
  readonly image: FileSource | undefined;
  readonly parts: OpenParts;
}

/** Decides about an envelope and changes nothing. */
export async function run(call: Call): Promise<number> {
  const judges = JUDGES.filter((name) => call.text(name) !== undefined);
  if (judges.length !== 1) {
    throw wrongUse(
      'name one judge: --unit FILE, --key PEM or --mac-key-file FILE',
      'see: fieldseal check --help',
    );
  }
  const image = call.text('image');
  const files = {
    envelope: fileSource(call.args[0]!),
    image: image === undefined ? undefined : fileSource(image),
    parts: openParts(call),
  };
  try {
    const verdict = await judge(call, judges[0]!, files);
    show(call, verdict);
    call.out.result(toJson(verdict));
    return statusOf(verdict.verdict);
  } finally {
    files.envelope.close();
    files.image?.close();
    files.parts.close();
  }
}

async function judge(call: Call, judgeName: (typeof JUDGES)[number], files: Files): Promise<Verdict> {
  const path = call.text(judgeName)!;
  if (judgeName !== 'unit' && call.text('at') !== undefined)
    call.out.caution(`--at was not used: with --${judgeName} no unit, and so no clock, is asked`);
  if (judgeName === 'key') return checkAuthenticity({ ...files, key: readKeyFile(path) });
  if (judgeName === 'mac-key-file') return checkAuthenticity({ ...files, key: readMacKeyFile(path) });
  const session = await readUnitSession(call, path);
  try {
    const { parts, ...offered } = files;
    const { components, dependencies } = parts;
    return checkForUnit({
      ...offered,
      components,
      dependencies,
      unit: session.unit.view(),
      now: timeOf(call),
    });
  } finally {
    session.close();
  }
}

/** A public key: SubjectPublicKeyInfo or a certificate, in PEM or DER. */
function readKeyFile(path: string): PublicKey {
  const bytes = readAll(path);
  const text = new TextDecoder('latin1').decode(bytes);
  return text.includes(PEM_MARK) ? fromPemBlock(path, text) : fromDer(path, bytes);
}

function fromPemBlock(path: string, text: string): PublicKey {
  const [block] = blocksOf(path, text);
  if (block?.label !== 'PUBLIC KEY' && block?.label !== 'CERTIFICATE')
    throw noKey(path, `it holds ${block?.label ?? 'no PEM block'}`);
  return fromDer(path, block.der);
}

function blocksOf(path: string, text: string): ReturnType<typeof fromPem> {
  try {
    return fromPem(text);
  } catch (error) {
    throw error instanceof X509Error ? noKey(path, error.message) : error;
  }
}

function fromDer(path: string, der: Uint8Array): PublicKey {
  if (readPublicKey(der)) return requireKey(path, der);
  try {
    return requireKey(path, parseCertificate(der).spki);
  } catch (error) {
    if (error instanceof X509Error || error instanceof DerError) return requireKey(path, der);
    throw error;
  }
}

function requireKey(path: string, spki: Uint8Array): PublicKey {
  const key = readPublicKey(spki);
  if (key && !isSoundKey(key))
    throw noKey(path, 'it holds an Ed25519 key of small order, under which everybody can sign');
  if (key) return key;
  const type = keyTypeName(spki);
  throw noKey(path, `it holds ${type}, and envelopes are signed with P-256 or Ed25519`);
}

function keyTypeName(spki: Uint8Array): string {
  try {
    const { asymmetricKeyType } = createPublicKey({ key: Buffer.from(spki), format: 'der', type: 'spki' });
    return `a key of type ${asymmetricKeyType}`;
  } catch {
    return 'no readable key';
  }
}

function readMacKeyFile(path: string): Uint8Array {
  const bytes = readAll(path);
  const text = new TextDecoder('latin1').decode(bytes);
  if (text.includes(PEM_MARK))
    throw noKey(path, 'it holds PEM, and a MAC key is raw bytes or hexadecimal digits');
  // 32 bytes are an HMAC-256 key as it is, whatever they spell; as digits they would be half of one.
  if (bytes.length === HMAC_KEY_LENGTH) return bytes;
  return HEX_TEXT.test(text) ? fromHex(text.replace(/\s/g, '')) : bytes;
}

function readAll(path: string): Uint8Array {
  const bytes = readSmall(path, LARGEST_KEY_FILE);
  if (!bytes) throw noKey(path, `it has more than ${LARGEST_KEY_FILE} bytes`);
  if (bytes.length === 0) throw noKey(path, 'it is empty');
  return bytes;
}

function noKey(path: string, why: string): Error {
  return wrongUse(
    `${path} is no key for checking: ${why}`,
    'give a PEM public key, a certificate, or with --mac-key-file a secret key',
  );
}

function show(call: Call, verdict: Verdict): void {
  const judged = verdict.scope === 'unit' ? `for unit ${call.text('unit')}` : 'authenticity only, no unit';
  call.out.line(`${call.args[0]}: ${judged}`);
  showSteps(call.out, verdict.steps, 'all');
  showFacts(call.out, verdict.facts);
  showAnswer(
    call.out,
    verdict,
    verdict.scope === 'unit' ? `accepted: ${verdict.facts.effect}` : 'accepted: authentic',
  );
}
