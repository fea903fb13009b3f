/**
 * Every payload and every forgery of the rehearsal, asked of src/unit and of the device kit: verdict, step and refusal must be
 * the same, and so must what is in flash afterwards, over install, start, trial, keep and fall-back.
 */
import { describe, expect, it, vi } from 'vitest';
import { leftOut } from '../../scripts/device/unit-record.ts';
import { rehearse } from '../../src/rehearsal/index.ts';
import type * as UnitRoom from '../../src/unit/index.ts';
import { hashBasedSubject, SUBJECTS } from '../rehearsal/subjects.ts';
import { compare, DEEP } from './both.ts';
import { toolchainPresent } from './toolchain.ts';
import { asked } from './watch.ts';

vi.mock('../../src/unit/index.ts', async (original) => {
  const { watched } = await import('./watch.ts');
  return watched(await original<typeof UnitRoom>());
});

/** The others take as long again, and add ways in which the kit is not built: `npm run device:deep`. */
const USUAL = [
  'two slots, ESP256',
  'linked slots, Ed25519',
  'an image beside the envelope, and a clock',
  'a staging area',
  'the symmetric scheme',
  'an image encrypted under a key of the class',
  'a hash-based signer',
];
const subjects = [...SUBJECTS, { name: 'a hash-based signer', make: hashBasedSubject }].filter(
  ({ name }) => DEEP || USUAL.includes(name),
);

describe.skipIf(!toolchainPresent)('the device kit says the same as src/unit to every forgery of', () => {
  it.each(subjects)('$name', async ({ name, make }) => {
    const room = await vi.importActual<typeof UnitRoom>('../../src/unit/index.ts');
    const from = asked.length;
    const subject = await make();
    await rehearse(subject);
    const { differences, questions } = compare(room, ['sanitized', 'cortex-m'], asked.slice(from));
    expect(differences).toEqual([]);
    // A unit that the kit is not for, with several signers or components, is asked nothing.
    expect(questions > 100, `${name}: ${questions} questions`).toBe(!leftOut(subject.record));
  });
});
