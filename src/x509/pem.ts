/** PEM, the textual encodings of RFC 7468. Text around the blocks is allowed (section 5.2), headers inside are not. */
import { toBase64 } from '../bytes/index.ts';
import { X509Error } from './x509-error.ts';

/** Labels of the structures that this product reads and writes (RFC 7468 sections 5 to 13). */
export type PemLabel =
  | 'CERTIFICATE'
  | 'CERTIFICATE REQUEST'
  | 'X509 CRL'
  | 'PUBLIC KEY'
  | 'PRIVATE KEY'
  | 'ENCRYPTED PRIVATE KEY';

/** One block of a PEM text. `line`: where it begins, counted from 1. */
export interface PemBlock {
  readonly label: string;
  readonly der: Uint8Array;
  readonly line: number;
}

const BEGIN = /^-----BEGIN ([\x20-\x7e]*)-----$/;
const END = /^-----END ([\x20-\x7e]*)-----$/;
const BASE64_LINE = /^[A-Za-z0-9+/]*={0,2}$/;

/** One block of PEM text, lines of 64 characters, ending in a line feed. */
export function toPem(label: PemLabel, der: Uint8Array): string {
  const lines = toBase64(der).match(/.{1,64}/g) ?? [];
  return `-----BEGIN ${label}-----\n${lines.map((line) => `${line}\n`).join('')}-----END ${label}-----\n`;
}

/** Every block of a PEM text, in order; at least one. Throws `X509Error` (pem-...) with the line. */
export function fromPem(text: string): PemBlock[] {
  const lines = text.split(/\r?\n/).map((line) => line.trimEnd());
  const blocks: PemBlock[] = [];
  for (let at = 0; at < lines.length; at++) {
    const label = BEGIN.exec(lines[at]!)?.[1];
    if (label === undefined) continue;
    const end = endOfBlock(lines, at, label);
    blocks.push({ label, der: decodeBody(lines.slice(at + 1, end), at + 2), line: at + 1 });
    at = end;
  }
  if (blocks.length === 0) throw new X509Error('pem-missing');
  return blocks;
}

/** The one block of this label in a PEM text. Blocks with other labels beside it are an error. */
export function onePem(text: string, label: PemLabel): Uint8Array {
  const blocks = fromPem(text);
  const other = blocks.find((block) => block.label !== label);
  if (other) {
    throw new X509Error('pem-label', { line: other.line, detail: `found ${other.label}, wanted ${label}` });
  }
  if (blocks.length > 1) {
    throw new X509Error('pem-label', { line: blocks[1]!.line, detail: `wanted one ${label}, found more` });
  }
  return blocks[0]!.der;
}

function endOfBlock(lines: readonly string[], begin: number, label: string): number {
  for (let at = begin + 1; at < lines.length; at++) {
    if (BEGIN.test(lines[at]!)) throw new X509Error('pem-boundary', { line: at + 1 });
    const found = END.exec(lines[at]!)?.[1];
    if (found === undefined) continue;
    if (found !== label) throw new X509Error('pem-boundary', { line: at + 1 });
    return at;
  }
  throw new X509Error('pem-boundary', { line: begin + 1 });
}

function decodeBody(lines: readonly string[], firstLine: number): Uint8Array {
  for (const [i, line] of lines.entries()) {
    const padded = line.endsWith('=') && i < lines.length - 1;
    if (padded || !BASE64_LINE.test(line)) throw new X509Error('pem-base64', { line: firstLine + i });
  }
  const body = lines.join('');
  const der = new Uint8Array(Buffer.from(body, 'base64'));
  if (der.length === 0 || toBase64(der) !== body) throw new X509Error('pem-base64', { line: firstLine });
  return der;
}
