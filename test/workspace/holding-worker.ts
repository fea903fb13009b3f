/** Run as a process of its own by hold.test.ts: holds a file again and again, and says so where another was inside. */
import { closeSync, openSync, readFileSync, unlinkSync, writeSync } from 'node:fs';
import { setTimeout as pause } from 'node:timers/promises';
import { holdAlone } from '../../src/workspace/hold.ts';

const path = process.argv[2]!;
const inside = `${path}.inside`;
for (;;) {
  const letGo = await holdAlone(path, { patience: 60_000 });
  enter();
  writeSync(1, 'in\n');
  await pause(Math.random() * 3);
  unlinkSync(inside);
  letGo();
  await pause(Math.random() * 2);
}

function enter(): void {
  try {
    const file = openSync(inside, 'wx');
    writeSync(file, String(process.pid));
    closeSync(file);
  } catch {
    const other = readFileSync(inside, 'utf8');
    // One that was killed inside left its mark.
    if (other !== '' && isAtWork(other)) writeSync(1, `${other} is inside, too\n`);
    unlinkSync(inside);
    enter();
  }
}

/** Not where it was killed, and its parent has not asked after it yet. */
function isAtWork(pid: string): boolean {
  try {
    return !/\) [ZX] /.test(readFileSync(`/proc/${pid}/stat`, 'utf8'));
  } catch {
    return false;
  }
}
