import { expect, test } from 'vitest';
import { saysIssuedBy } from '../../src/x509/index.ts';
import { testChain } from './support.ts';

test('two authorities of one name are told apart by their key identifiers (RFC 5280 4.2.1.1)', async () => {
  const [one, other] = [await testChain(), await testChain()];
  expect(one.root.subject.text).toBe(other.root.subject.text);
  expect(saysIssuedBy(one.intermediate, one.root)).toBe(true);
  expect(saysIssuedBy(one.intermediate, other.root)).toBe(false);
  expect(saysIssuedBy({ ...one.intermediate, aki: undefined } as never, other.root)).toBe(true);
  expect(saysIssuedBy(one.signer, one.root)).toBe(false);
});
