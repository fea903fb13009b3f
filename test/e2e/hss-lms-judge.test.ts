/**
 * HSS/LMS judged both ways by another implementation of RFC 8554, Bouncy Castle (Debian: libbcprov-java, and any Java
 * from 11 that compiles). It knows the n = 32 sets only.
 */
import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { HssTrees, hssSpki, parseHssShape, readPublicKey, verifySignature } from '../../src/crypto/index.ts';

const LIBRARY = '/usr/share/java/bcprov.jar';
const present = existsSync(LIBRARY) && spawnSync('javac', ['-version']).status === 0;
const MESSAGE = Uint8Array.from({ length: 200 }, (_, i) => i);
const SHAPES = ['H5/W1', 'H5/W2', 'H5/W4', 'H5/W8', 'H5/W4,H5/W8', 'H10/W2,H5/W2,H5/W4'];

function judge(requests: readonly string[]): string[] {
  const run = spawnSync('java', ['-cp', LIBRARY, 'test/e2e/HssJudge.java'], {
    input: requests.map((line) => `${line}\n`).join(''),
    encoding: 'utf8',
    maxBuffer: 1 << 26,
    // With JAVA_TOOL_OPTIONS in its environment it would tell them on standard error.
    env: { PATH: process.env.PATH, HOME: process.env.HOME },
  });
  expect(run.stderr).toBe('');
  return run.stdout.trimEnd().split('\n');
}

describe.skipIf(!present)('RFC 8554, judged by Bouncy Castle', () => {
  test('it takes what is signed here, at the first leaf and after a tree change, and refuses it changed', () => {
    const requests = SHAPES.flatMap((text, i) => {
      const trees = new HssTrees({ shape: parseHssShape(text)!, master: new Uint8Array(32).fill(i) });
      const key = toHex(trees.publicKey());
      return (text.includes(',') ? [0n, 33n] : [0n, 31n]).flatMap((leaf) => {
        const signature = trees.sign(leaf, MESSAGE);
        const changed = signature.with(-1, signature.at(-1)! ^ 1);
        return [signature, changed].map((each) => `verify ${key} ${toHex(MESSAGE)} ${toHex(each)}`);
      });
    });
    expect(judge(requests)).toEqual(requests.map((_, i) => (i % 2 === 0 ? 'true' : 'false')));
  });

  test('what it signs verifies here, and not when changed', () => {
    const requests = [1, 2].flatMap((levels) =>
      [1, 2, 4, 8].map((w) => `sign ${levels} ${w} ${toHex(MESSAGE)}`),
    );
    const answers = judge(requests);
    expect(answers).toHaveLength(requests.length);
    for (const answer of answers) {
      const [key, signature] = answer.split(' ').map(fromHex);
      const publicKey = readPublicKey(hssSpki(key!)!)!;
      expect(verifySignature(publicKey, MESSAGE, signature!)).toBe(true);
      expect(verifySignature(publicKey, MESSAGE.with(0, 9), signature!)).toBe(false);
    }
  });
});
