import { toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { knownReleases, type VerifierSession } from '../../verifier/index.ts';
import type { FleetStore, Taken, UnitReport } from '../store/types.ts';
import { type JudgeBooks, type Judged, judgeReport, type Untaken } from './judge.ts';
import type { Newcomers } from './newcomers.ts';
import { Renewed } from './renewed.ts';
import { Reporters } from './reporters.ts';

/** What became of a report. */
export type IntakeResult =
  | { readonly id: string; readonly outcome: 'new' | 'known' }
  | { readonly id: string; readonly outcome: Untaken; readonly code: string; readonly says: string };

/** How many reports came to what, since the process began. */
export type IntakeCounts = Record<IntakeResult['outcome'], number>;

interface Waiting {
  readonly report: UnitReport;
  resolve(taken: Taken): void;
  reject(error: unknown): void;
}

/** Reports in one transaction. */
const MOST_TOGETHER = 256;
/** Doubted reports that are remembered, so that one that is sent again and again fills no journal. */
const MOST_NOTED = 10_000;
const STRANGER = { code: 'unit-unknown', says: 'no unit of the fleet has that device identifier' } as const;

/**
 * Takes reports in: judges each, and enters what is genuine in the store, durably, before it says so. Whatever else comes is
 * counted and changes no unit's state. Reports that come together are entered in one transaction.
 */
export class Intake {
  readonly counts: IntakeCounts = { new: 0, known: 0, malformed: 0, foreign: 0, forged: 0, doubted: 0 };
  readonly #store: FleetStore;
  readonly #books: JudgeBooks;
  readonly #now: () => Date;
  readonly #noted = new Set<string>();
  #waiting: Waiting[] = [];
  #entering = false;

  constructor(session: VerifierSession, store: FleetStore, newcomers: Newcomers) {
    const reporters = new Reporters(session, store, newcomers);
    const releases = new Renewed(() => knownReleases(session.workspace));
    this.#store = store;
    this.#books = {
      find: (deviceId, macs) => reporters.find(deviceId, macs),
      releases: () => releases.get(),
    };
    this.#now = () => session.workspace.now();
  }

  /** Takes one report. Throws what the store does where it cannot be entered: then it does not count, and may come again. */
  async take(bytes: Uint8Array): Promise<IntakeResult> {
    const result = await this.#judged(await judgeReport(bytes, this.#books, this.#now()), bytes);
    this.counts[result.outcome] += 1;
    return result;
  }

  async #judged(judged: Judged, bytes: Uint8Array): Promise<IntakeResult> {
    const id = toHex(sha256(bytes));
    if (!judged.taken) {
      await this.#noteDoubt(judged, id);
      return { id, outcome: judged.why, code: judged.code, says: judged.says };
    }
    const taken = await this.#enter(judged.report);
    return taken === 'stranger' ? { id, outcome: 'foreign', ...STRANGER } : { id, outcome: taken };
  }

  /** What a unit did sign, and cannot be, is a finding: it stands in the journal. */
  async #noteDoubt({ from, code, says }: Extract<Judged, { taken: false }>, id: string): Promise<void> {
    if (!from || this.#noted.has(id)) return;
    if (this.#noted.size >= MOST_NOTED) this.#noted.clear();
    this.#noted.add(id);
    const { className, serial } = from.unit;
    await this.#store.note({
      kind: 'report-doubted',
      device: from.name.device,
      who: 'intake',
      text: `${className} ${serial} signed report ${id.slice(0, 16)}, which is not taken: ${code}, ${says}`,
    });
  }

  #enter(report: UnitReport): Promise<Taken> {
    return new Promise((resolve, reject) => {
      this.#waiting.push({ report, resolve, reject });
      if (!this.#entering) void this.#enterAll();
    });
  }

  async #enterAll(): Promise<void> {
    this.#entering = true;
    // Whatever is judged in the same turn goes along.
    await new Promise((resolve) => setImmediate(resolve));
    while (this.#waiting.length > 0) {
      const together = this.#waiting.splice(0, MOST_TOGETHER);
      try {
        const taken = await this.#store.takeReports(together.map(({ report }) => report));
        for (const [i, { resolve }] of together.entries()) resolve(taken[i]!);
      } catch (error) {
        for (const { reject } of together) reject(error);
      }
    }
    this.#entering = false;
  }
}
