import { equal, toHex } from '../../bytes/index.ts';
import { WorkspaceError } from '../../workspace/index.ts';
import type { Offer, OfferedFile } from '../announcement/offered.ts';
import { BroadcastError } from '../error.ts';
import type { Depot } from './depot.ts';

type Lack = 'missing' | 'other bytes' | 'unreadable';

const SAYS: Readonly<Record<Lack, string>> = {
  missing: 'is not there',
  'other bytes': 'was changed or damaged since it was put there',
  unreadable: 'cannot be read',
};

/** Whether a depot still holds what is offered, byte for byte. */
export class Holding {
  readonly #depot: Depot;
  readonly #judged = new Map<string, { readonly mark: string; readonly lack: Lack | undefined }>();

  constructor(depot: Depot) {
    this.#depot = depot;
  }

  /**
   * What a depot lacks of these offers, first found; undefined where it holds all of them. A file that was read before is read again
   * once it was changed, or where `anew`.
   */
  async fault(offers: readonly Offer[], { anew = false } = {}): Promise<BroadcastError | undefined> {
    for (const { envelope, images, sequenceNumber } of offers)
      for (const file of [envelope, ...images]) {
        const lack = await this.#lack(file, anew);
        const what = file === envelope ? 'what is offered of release' : 'an image of release';
        if (lack) return this.#faultOf(file, `${what} ${sequenceNumber} ${SAYS[lack]}`);
      }
    return undefined;
  }

  async #lack(file: OfferedFile, anew: boolean): Promise<Lack | undefined> {
    const mark = this.#depot.mark(file);
    if (mark === undefined) return 'missing';
    const before = this.#judged.get(file.uri);
    if (!anew && before?.mark === mark) return before.lack;
    const lack = await this.#read(file);
    // Judged under the mark from before it was read: what changes meanwhile is read again.
    this.#judged.set(file.uri, { mark, lack });
    return lack;
  }

  async #read(file: OfferedFile): Promise<Lack | undefined> {
    try {
      return equal(await this.#depot.digest(file), file.digest) ? undefined : 'other bytes';
    } catch (error) {
      if (error instanceof WorkspaceError) return 'unreadable';
      throw error;
    }
  }

  #faultOf({ uri, digest }: OfferedFile, says: string): BroadcastError {
    return new BroadcastError(
      'depot',
      `depot ${this.#depot.folder}: ${says} (${uri}). Units would fetch nothing that they may install, so no wave is opened there and nothing offered`,
      `name the depot that the broadcast was begun with; or put the file with SHA-256 ${toHex(digest)} back as ${uri}, and steering goes on at its next look`,
    );
  }
}
