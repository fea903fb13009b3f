/** docs/reports.md says what is built. HKDF and UUID on it were computed with Python 3's hmac and uuid modules. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { type CborValue, encode } from '../../src/cbor/index.ts';
import { referenceUriOf } from '../../src/release/manifest.ts';
import { AGE_LABEL, APPRAISAL_REFUSALS, REPORT_LIMITS, unitMacKey } from '../../src/report/index.ts';
import { CLASS, DEVICE } from './samples.ts';

const page = readFileSync(new URL('../../docs/reports.md', import.meta.url), 'utf8');
const KEY = Uint8Array.from({ length: 32 }, (_, i) => i);

describe('docs/reports.md', () => {
  it.each([
    ['nothing to name', ['', [-16, new Uint8Array()]]],
    ['label of the age', AGE_LABEL],
    ['info of the MAC key', ['unit-report-key', CLASS, DEVICE]],
  ] as [string, CborValue][])('%s', (_name, value) => {
    expect(page).toContain(`\`${toHex(encode(value))}\``);
  });

  it('RFC 5869: the MAC key of a unit', () => {
    const key = 'ed68f0bacdb7bf39b554efbaaf7372ca6c6fbdb05d0a67b531e9db24695c9768';
    expect(page).toContain(`\`${key}\``);
    expect(unitMacKey('unit-report-key', KEY, CLASS, DEVICE)).toEqual(fromHex(key));
  });

  it('RFC 9562 5.5: the reference URI of a release', () => {
    const uri = 'urn:uuid:8bada437-35ea-565b-96b4-f966fcb18ef8';
    expect(page).toContain(`\`${uri}\``);
    expect(referenceUriOf({ referenceUri: undefined }, { classId: CLASS }, 12n)).toBe(uri);
  });

  it('every refusal of the appraisal, at its claim', () => {
    const appraisal = page.slice(page.indexOf('## Appraisal'));
    for (const [code, { claim }] of Object.entries(APPRAISAL_REFUSALS)) {
      const row = appraisal.split('\n').find((line) => line.startsWith(`| ${claim} |`));
      expect(row).toContain(`\`${code}\``);
    }
  });

  it('limits', () => {
    for (const value of [REPORT_LIMITS.messageSize, REPORT_LIMITS.items, REPORT_LIMITS.records]) {
      expect(page).toContain(value.toLocaleString('en'));
    }
  });
});
