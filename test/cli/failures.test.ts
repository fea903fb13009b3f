/** Whatever a command throws is told in words, with an exit status that scripts can go by. */
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { EXIT, wrongUse } from '../../src/cli/exit.ts';
import { toFailure } from '../../src/cli/failures.ts';
import { ImageError } from '../../src/image/index.ts';
import { WorkspaceError } from '../../src/workspace/index.ts';

function thrownBy(action: () => unknown): unknown {
  try {
    action();
  } catch (error) {
    return error;
  }
  throw new Error('nothing was thrown');
}

describe('an error of the system about a file', () => {
  it('that is not there says so, with the next step, and could not be done', () => {
    const failure = toFailure(thrownBy(() => readdirSync('no/such/folder')));
    expect(failure).toMatchObject({ status: EXIT.notDone, code: 'file-missing', hint: 'check the path' });
    expect(failure.message).toBe('cannot use no/such/folder: there is no such file or folder');
  });

  it('that is a file where a folder should be is wrong use', () => {
    const failure = toFailure(thrownBy(() => readFileSync(join(import.meta.filename, 'inside'))));
    expect(failure).toMatchObject({ code: 'wrong-value', hint: 'check the path' });
    expect(failure.message).toContain('a part of that path is a file, not a folder');
  });
});

describe('an error of a room', () => {
  it.each([
    [new WorkspaceError('disk-full', 'the disk is full', { hint: 'make room' }), EXIT.notDone],
    [Object.assign(new Error('no scheme'), { code: 'scheme-wrong' }), EXIT.wrongUse],
    [new ImageError('vector-table', 'the reset vector lies outside'), EXIT.refused],
  ])('%s keeps its words', (error, status) => {
    expect(toFailure(error)).toMatchObject({ status, message: error.message });
  });

  it('that is a failure already stays as it is', () => {
    const failure = wrongUse('--share 2000: too many', 'say less');
    expect(toFailure(failure)).toBe(failure);
  });
});

it.each([[undefined], [null], ['text'], [new TypeError('x is not a function')]])(
  'anything else (%s) is a fault of the program, and asks to be reported',
  (thrown) => {
    expect(toFailure(thrown)).toMatchObject({ status: EXIT.notDone, code: 'program-fault' });
    expect(toFailure(thrown).message).toContain(String(thrown));
  },
);
