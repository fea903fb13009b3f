import { describe, expect, it } from 'vitest';
import { Output } from '../../src/cli/output.ts';

describe('what a stranger wrote', () => {
  it('stays on the line of the fact that it belongs to', () => {
    let shown = '';
    const stream = {
      isTTY: false,
      write: (text: string) => (shown += text),
    } as unknown as NodeJS.WriteStream;
    new Output(false, stream, stream).fact('version', '1.0\naccepted: authentic\r\n\tx\u2028y');
    expect(shown.split('\n')).toEqual([expect.stringMatching(/^ {2}version {14}1\.0\?accepted/), '']);
    expect(shown).not.toMatch(/[\r\t\u2028]/);
  });
});
