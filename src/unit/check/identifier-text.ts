import { toHex } from '../../bytes/index.ts';
import type { ComponentIdentifier } from '../../suit/index.ts';

const PLAIN = /^[\x21-\x2e\x30-\x7e]+$/;

/** A component identifier for people: segments parted by '/', or in hexadecimal where a terminal could be upset. */
export function identifierText(identifier: ComponentIdentifier): string {
  const texts = identifier.map((segment) => new TextDecoder().decode(segment));
  if (texts.length > 0 && texts.every((text) => PLAIN.test(text))) return texts.join('/');
  return `[${identifier.map((segment) => `h'${toHex(segment)}'`).join(', ')}]`;
}
