/** Releases on record, and signatures that were added to them later. */
import { expect, test } from 'vitest';
import { addedSignatures, listRecords, listReleases, writeRecord } from '../../src/workspace/index.ts';
import { freshWorkspace } from './setup.ts';

test('a signature that was added to a release is none itself, and belongs to that release alone', () => {
  const workspace = freshWorkspace();
  const record = (name: string, className = 'vent') =>
    writeRecord(workspace, {
      folder: 'releases',
      name: [className, name],
      kind: 'sealed',
      facts: { format: 'fieldseal.release/1', name },
      summary: { name },
    });
  for (const name of ['1', '1-signature-1', '1-signature-2', '11', '11-signature-1']) record(name);
  record('1', 'dosing');
  expect(listRecords(workspace, 'releases')).toHaveLength(6);
  expect(listReleases(workspace)).toEqual(['dosing/1', 'vent/1', 'vent/11']);
  expect(listReleases(workspace, 'vent')).toEqual(['vent/1', 'vent/11']);
  const added = (release: string) => addedSignatures(workspace, release).map(({ name }) => name);
  expect(added('vent/1')).toEqual(['1-signature-1', '1-signature-2']);
  expect(added('vent/11')).toEqual(['11-signature-1']);
  expect(added('dosing/1')).toEqual([]);
});
