import { describe, expect, test } from 'vitest';
import { fromHex, fromUtf8 } from '../../src/bytes/index.ts';
import {
  classId,
  formatUuid,
  NAMESPACE_DNS,
  NAMESPACE_OID,
  parseUuid,
  uuidV5,
  vendorId,
} from '../../src/suit/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';

describe('RFC 9562 5.5: name-based UUIDs by SHA-1', () => {
  test('Appendix A.4: www.example.com in the namespace of domain names', () => {
    expect(formatUuid(uuidV5(NAMESPACE_DNS, 'www.example.com'))).toBe('2ed6657d-e927-568b-95e1-2665a8aea6a2');
  });

  test('[M] 8.4.8.1: the namespace of enterprise numbers, from its CBOR bytes', () => {
    const namespace = uuidV5(NAMESPACE_OID, fromHex('d86f452b06010401'));
    expect(formatUuid(namespace)).toBe('47fbdabb-f2e4-55f0-bb39-3620c2f6df4e');
  });

  test('[M] Appendix B: vendor and class identifier of the examples, from the input of example 2', () => {
    const vendor = vendorId('arm.com');
    expect(formatUuid(vendor)).toBe('fa6b4a53-d5ad-5fdf-be9d-e663e4d41ffe');
    expect(formatUuid(classId(vendor, 'suit'))).toBe('1492af14-2569-5e48-bf42-9b2d51f2ab45');
  });

  test('[M] 8.4.8.2: vendor from a domain, class from vendor and model (values computed with independent code)', () => {
    const vendor = vendorId('maker.example');
    expect(formatUuid(vendor)).toBe('4638e62c-7425-55c8-b299-247f7870a11f');
    expect(formatUuid(classId(vendor, 'meter-g2/hw-B'))).toBe('149a892a-ea1e-5f65-bce3-27594a29ad0f');
    expect(classId(vendor, fromUtf8('meter-g2/hw-B'))).toEqual(classId(vendor, 'meter-g2/hw-B'));
  });

  test.skipIf(!vectorsPresent)('shared vectors uuid-v5', () => {
    const cases = vectors('uuid-v5').cases as { namespace: string; nameHex: string; uuid: string }[];
    expect(cases.length).toBeGreaterThan(0);
    for (const { namespace, nameHex, uuid } of cases) {
      expect(formatUuid(uuidV5(namespace, fromHex(nameHex)))).toBe(uuid);
    }
  });
});

describe('RFC 9562 4: text form', () => {
  test('both cases are read, lower case is written', () => {
    const text = 'FA6B4A53-D5AD-5FDF-BE9D-E663E4D41FFE';
    expect(formatUuid(parseUuid(text))).toBe(text.toLowerCase());
  });

  test.each(['', 'fa6b4a53', 'fa6b4a53d5ad5fdfbe9de663e4d41ffe', '{fa6b4a53-d5ad-5fdf-be9d-e663e4d41ffe}'])(
    'refuses %j',
    (text) => {
      expect(() => parseUuid(text)).toThrow(TypeError);
    },
  );

  test('wrong lengths are wrong use', () => {
    expect(() => formatUuid(new Uint8Array(15))).toThrow(TypeError);
    expect(() => uuidV5(new Uint8Array(15), 'x')).toThrow(TypeError);
  });
});
