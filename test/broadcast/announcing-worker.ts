/** Run as a process of its own by depot.test.ts: announces every second counter until it is killed, and says so where one went back. */
import { writeSync } from 'node:fs';
import { setTimeout as pause } from 'node:timers/promises';
import { type Announcement, Depot, macAnnouncement } from '../../src/broadcast/index.ts';
import { heldMacKey } from '../../src/cose/index.ts';

const CLASS = '149a892a-ea1e-5f65-bce3-27594a29ad0f';
const depot = new Depot(process.argv[2]!);
const key = heldMacKey(new Uint8Array(8), new Uint8Array(32));
let highest = 0n;
for (let counter = BigInt(process.argv[3]!); ; counter = next(counter)) {
  const said: Announcement = {
    classId: new Uint8Array(16),
    counter,
    ...{ notBefore: 1n, expiry: 2n, wave: 'pilot', offer: null },
    reach: { kind: 'units', units: [] },
  };
  try {
    await depot.announce(CLASS, await macAnnouncement(said, key), counter);
    highest = counter;
    writeSync(1, 'announced\n');
  } catch (error) {
    if ((error as { code?: string }).code !== 'broadcast-overtaken') throw error;
  }
  await pause(Math.random() * 3);
}

/** The next of its own above what stands there, and close to what the other will take. */
function next(counter: bigint): bigint {
  const now = depot.announced(CLASS)?.announcement.counter ?? 0n;
  if (now < highest) writeSync(1, `${now} stands there after ${highest}\n`);
  const wanted = now > counter ? now + 1n : counter + 1n;
  return wanted % 2n === counter % 2n ? wanted : wanted + 1n;
}
