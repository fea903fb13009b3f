import type { ByteSource } from '../bytes/index.ts';
import { toHex } from '../bytes/index.ts';
import { diagnosticOfEnvelope, mapBytes, type Region } from '../suit/index.ts';
import type { JsonObject } from '../workspace/index.ts';
import { fingerprint } from '../x509/index.ts';
import { certificatesIn, type FoundCertificate } from './find-certificates.ts';
import { certificateJson } from './key.ts';

/** Every byte of a file accounted for. */
export interface Anatomy {
  readonly regions: readonly Region[];
  readonly certificates: readonly FoundCertificate[];
  /** The whole in diagnostic notation (RFC 8949 section 8). */
  readonly diagnostic: string;
}

/** Accounts for every byte of a file, an envelope or not. */
export function anatomyOf(source: ByteSource): Anatomy {
  const regions = mapBytes(source);
  return { regions, certificates: certificatesIn(source, regions), diagnostic: diagnosticOfEnvelope(source) };
}

/** The same for programs. `file`: its name as the asker gave it. */
export function anatomyJson(file: string, size: number, anatomy: Anatomy): JsonObject {
  return {
    format: 'fieldseal.anatomy/1',
    file,
    size_bytes: size,
    regions: anatomy.regions.map(regionJson),
    certificates: anatomy.certificates.map(({ offset, certificate }) => ({
      offset,
      fingerprint: fingerprint(certificate.spki),
      spki_hex: toHex(certificate.spki),
      ...certificateJson(certificate),
    })),
    diagnostic: anatomy.diagnostic,
  };
}

function regionJson({ children, ...region }: Region): JsonObject {
  return { ...region, ...(children && { children: children.map(regionJson) }) };
}
