import type { ByteSource } from '../bytes/index.ts';
import type { Region } from '../suit/index.ts';
import { type Certificate, parseCertificate } from '../x509/index.ts';

/** A certificate and where it lies in a file. */
export interface FoundCertificate {
  readonly offset: number;
  readonly certificate: Certificate;
}

const SEQUENCE = 0x30;
const SHORTEST = 64;
const LONGEST = 16_384;

/** The certificates among the regions of a file: leaves that read as DER certificates (RFC 5280 section 4.1). */
export function certificatesIn(source: ByteSource, regions: readonly Region[]): FoundCertificate[] {
  return regions.flatMap((region) => {
    if (region.children) return certificatesIn(source, region.children);
    if (region.length < SHORTEST || region.length > LONGEST) return [];
    const bytes = source.read(region.offset, region.length);
    if (bytes[0] !== SEQUENCE) return [];
    try {
      return [{ offset: region.offset, certificate: parseCertificate(bytes) }];
    } catch {
      return [];
    }
  });
}
