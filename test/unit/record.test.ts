import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { ed25519Spki } from '../../src/crypto/index.ts';
import { emptyState, readUnitRecord, type UnitRecord, UnitRecordError } from '../../src/unit/index.ts';
import { exampleRecord } from './records.ts';

/** The error that reading `json` raises. */
function refused(json: unknown): UnitRecordError {
  try {
    readUnitRecord(json);
  } catch (error) {
    if (error instanceof UnitRecordError) return error;
    throw error;
  }
  throw new Error('the record was taken');
}

const asJson = (record: object): UnitRecord => JSON.parse(JSON.stringify(record));

describe('unit record', () => {
  it('reads back what was written', () => {
    expect(readUnitRecord(asJson(exampleRecord()))).toEqual(exampleRecord());
  });

  it('has exactly its own fields: a missing one is named', () => {
    for (const field of Object.keys(exampleRecord())) {
      const json: Record<string, unknown> = { ...asJson(exampleRecord()) };
      delete json[field];
      expect(refused(json).path, field).toEqual([field]);
    }
  });

  it('has exactly its own fields: another one is named', () => {
    expect(refused({ ...exampleRecord(), colour: 'green' }).path).toEqual(['colour']);
  });

  it('takes no field that only an object prototype has', () => {
    const json = JSON.parse(JSON.stringify(exampleRecord()).replace('"serial":"0001",', ''));
    expect(refused(Object.assign(Object.create({ serial: '0001' }), json)).path).toEqual(['serial']);
  });

  it('names the field, what was found and what was expected', () => {
    const error = refused({ ...exampleRecord(), trial_attempts: -1 });
    expect(error.path).toEqual(['trial_attempts']);
    expect(error.message).toBe(
      'unit record, field trial_attempts: -1; expected a whole number from 0 to 100',
    );
  });

  it('draft-ietf-suit-mti 3: a profile belongs to one scheme', () => {
    expect(refused(exampleRecord({ profile: 'suit-sha256-hmac-a128kw-a128ctr' })).path).toEqual(['profile']);
    expect(refused(exampleRecord({ profile: 'sha1-rsa' })).path).toEqual(['profile']);
  });

  it('RFC 8032 5.1.7: no root and no key of its own is a point under which everybody can sign', () => {
    const spki = toHex(ed25519Spki(Uint8Array.of(1, ...new Uint8Array(31))));
    const [root] = exampleRecord().anchors;
    expect(refused(exampleRecord({ anchors: [{ ...root!, spki }] })).path).toEqual(['anchors', 0, 'spki']);
    const own = { purpose: 'report', spki, secret: { trial_hex: '00'.repeat(32) } } as const;
    expect(refused(exampleRecord({ unit_keys: [own] })).path).toEqual(['unit_keys', 0, 'spki']);
  });

  it('an asymmetric unit without a root, and a symmetric one without a key, cannot judge anything', () => {
    expect(refused(exampleRecord({ anchors: [] })).path).toEqual(['anchors']);
    const symmetric = { scheme: 'symmetric', profile: 'suit-sha256-hmac-a128kw-a128ctr' } as const;
    expect(refused(exampleRecord(symmetric)).path).toEqual(['mac_keys']);
  });

  it('two MAC keys never share an id', () => {
    const key = { id: '01', label: 'class', secret: { trial_hex: '00'.repeat(32) } };
    expect(refused(exampleRecord({ mac_keys: [key, key] })).path).toEqual(['mac_keys']);
  });

  it('a production unit holds no secret in clear, and the error does not quote it', () => {
    const secret = { trial_hex: 'c0ffee'.repeat(10) };
    const mac_keys = [{ id: '01', label: 'class', secret }];
    const error = refused(exampleRecord({ trial: false, mac_keys }));
    expect(error.path).toEqual(['mac_keys', 0, 'secret']);
    expect(error.message).not.toContain('c0ffee');
  });

  it('a memory map with overlapping areas is refused with its own path', () => {
    const { memory } = exampleRecord();
    const slots = [memory.slots[0]!, { ...memory.slots[1]!, address: memory.slots[0]!.address }];
    expect(refused(exampleRecord({ memory: { ...memory, slots } })).path[0]).toBe('memory');
  });

  it('sequence numbers beyond 2^53 survive', () => {
    const floors = { sequence_number: '18446744073709551615', security_version: 1, signer_generation: 2 };
    const record = readUnitRecord(exampleRecord({ floors }));
    expect(emptyState(record).floors).toEqual({
      sequenceNumber: 2n ** 64n - 1n,
      securityVersion: 1,
      signerGeneration: 2,
    });
  });

  it('property: whatever JSON comes, it is read or refused with a path', () => {
    fc.assert(
      fc.property(fc.jsonValue(), fc.constantFrom(...Object.keys(exampleRecord())), (value, field) => {
        try {
          readUnitRecord({ ...exampleRecord(), [field]: value });
        } catch (error) {
          expect(error).toBeInstanceOf(UnitRecordError);
        }
      }),
    );
  });
});
