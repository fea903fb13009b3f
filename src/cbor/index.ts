/**
 * CBOR: a strict deterministic profile of RFC 8949 and nothing more. Read are definite lengths, shortest forms,
 * unique keys in the order of section 4.2.1 (for strangers' COSE headers the order may be waived), UTF-8 text, one
 * NaN, within bounds of depth and number; everything else is refused with a code and an offset. Decoded items keep
 * their spans, byte strings are views. Tags are not interpreted; `undefined` is decoded for callers to refuse.
 */
export { type DecodeOptions, decode, decodeFirst } from './decode.ts';
export { type DiagnosticOptions, diagnostic } from './diagnostic.ts';
export { CborEncoded, CborMap, CborTag, type CborValue, encode } from './encode.ts';
export { CborError, type CborErrorCode } from './error.ts';
export { encodeHead, type Head, headLength, readHead, writeHead } from './head.ts';
export {
  type CborArray,
  type CborBytes,
  type CborEntry,
  type CborFloat,
  type CborInteger,
  type CborItem,
  type CborMapping,
  type CborSimple,
  type CborTagged,
  type CborText,
  lookUp,
} from './item.ts';
export { CBOR_LIMITS } from './limits.ts';
