import { expect, test, vi } from 'vitest';
import { readDocument } from '../../src/workspace/document.ts';
import { WorkspaceError } from '../../src/workspace/index.ts';
import { deviceClassSchema } from '../../src/workspace/schema.ts';

test('YAML 1.2: a key that is no text is a mistake like others, and the library prints nothing of its own', () => {
  const warned = vi.spyOn(process, 'emitWarning').mockReturnValue();
  expect(() => readDocument('[]: 1\n', 'vent.yaml', deviceClassSchema)).toThrow(WorkspaceError);
  expect(warned).not.toHaveBeenCalled();
  warned.mockRestore();
});
