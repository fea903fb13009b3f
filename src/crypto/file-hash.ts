import { once } from 'node:events';
import { Worker } from 'node:worker_threads';

/** A stretch of an open file: its handle, and where it begins and how long it is in bytes. */
export interface FileStretch {
  readonly handle: number;
  readonly offset: number;
  readonly length: number;
}

/**
 * SHA-256 over a stretch of an open file, 32 bytes, read and hashed on another thread while this one goes on. The handle
 * must stay open until it is done. Rejects with the system's error, or a `RangeError` where the file ends sooner.
 */
export async function sha256OfFile(stretch: FileStretch): Promise<Uint8Array> {
  const thread = new Worker(`(${hashStretch})(require)`, { eval: true, workerData: stretch });
  const [digest] = await once(thread, 'message');
  return new Uint8Array(digest);
}

/** The program of the thread. It travels as its own text, so that it can name nothing outside itself. */
function hashStretch(load: NodeJS.Require): void {
  const { parentPort, workerData } = load('node:worker_threads') as typeof import('node:worker_threads');
  const { createHash } = load('node:crypto') as typeof import('node:crypto');
  const { readSync } = load('node:fs') as typeof import('node:fs');
  const { handle, offset, length } = workerData as FileStretch;
  const hash = createHash('sha256');
  const buffer = new Uint8Array(Math.min(1 << 20, length));
  for (let done = 0; done < length; ) {
    const count = readSync(handle, buffer, 0, Math.min(buffer.length, length - done), offset + done);
    if (count === 0) throw new RangeError('the file became shorter while it was read');
    hash.update(buffer.subarray(0, count));
    done += count;
  }
  parentPort!.postMessage(hash.digest());
}
