/**
 * Takes a lease again and again and, while it holds it, writes into a file under the store's fence: PLACE NAME FILE. Each line says
 * who began or ended, and under which token. Killed from outside.
 */
import { appendFileSync } from 'node:fs';
import { openFleet } from '../../src/fleet/index.ts';

const [place, name, file] = process.argv.slice(2) as [string, string, string];
const store = await openFleet(place);
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

for (;;) {
  const lease = await store.lease('steer', name, 1);
  if (!lease) {
    await pause(20);
    continue;
  }
  for (let i = 0; i < 5; i++) {
    try {
      await store.note({ kind: 'held', who: name, text: String(lease.token) }, lease);
      appendFileSync(file, `${name} ${lease.token}\n`);
    } catch (error) {
      if ((error as { code?: string }).code !== 'fleet-lease-lost') throw error;
      break;
    }
    await pause(10);
  }
  // Half the time it forgets to give the lease back, as one that was killed would.
  if (lease.token % 2 === 0) await store.release(lease);
  else await pause(1100);
}
