/** Run as a process of its own by workspace-kill.test.ts: takes numbers and writes records until it is killed. */
import { writeSync } from 'node:fs';
import { openWorkspace, readClass, takeNumber, writeRecord } from '../../src/workspace/index.ts';

const workspace = await openWorkspace(process.argv[2]);
const vent = await readClass(workspace, 'vent');
for (;;) {
  const { number } = takeNumber(workspace, vent);
  writeSync(1, `${number}\n`);
  writeRecord(workspace, {
    folder: 'releases',
    name: ['vent', String(number)],
    kind: 'sealed',
    facts: { format: 'fieldseal.release/1', sequence_number: String(number), by: process.pid },
    summary: { class: 'vent', sequence_number: String(number) },
  });
}
