// One run over all tasks of one kind: hands stretches of cases to threads, watches them, adds up, prints.
import { setFlagsFromString } from 'node:v8';
import { Worker } from 'node:worker_threads';

/** Seconds without a finished case until a thread counts as hung. */
const HANG_SECONDS = 30;
/** Memory that may stay held from an early point of a stretch to its end: caches fill, nothing else grows. */
const GROWTH_BYTES = 32 * 2 ** 20;
/** Bytes that the process may take up: threads with their code, and what a case needs. */
const RESIDENT_BYTES = (jobs) => (256 + 384 * jobs) * 2 ** 20;
/** Share of all payload cases that must fall at each step. */
const LEAST_SHARE = 0.02;
const STEPS =
  'envelope signer authentication manifest freshness identity fit content image commit start keep'.split(' ');

const mib = (bytes) => `${(bytes / 2 ** 20).toFixed(0)} MiB`;

export class FuzzRun {
  #options;
  #threads = [];
  #begin = performance.now();
  #cases = 0;
  #totals = {};
  #faults = [];
  #slowest = 0;
  #resident = 0;
  #growth = 0;

  constructor(options) {
    this.#options = options;
  }

  /** Runs everything. True where every promise held. */
  async finish() {
    const { what, count, seed, jobs, only } = this.#options;
    console.log(`${what}: ${count} cases each, seed ${seed}, ${jobs} thread(s)`);
    setFlagsFromString('--expose-gc');
    this.#threads = await Promise.all(Array.from({ length: jobs }, () => this.#start()));
    const watch = setInterval(() => this.#watch(), 500);
    const names = this.#threads[0].names.filter((name) => !only || only.includes(name));
    for (const name of names) {
      if (this.#threads.length > 0) await this.#task(name, count);
    }
    clearInterval(watch);
    await Promise.all(this.#threads.map(({ worker }) => worker.terminate()));
    if (names.length === 0) this.#faults.push(`nothing is called ${only}`);
    this.#close(!only && what === 'payloads');
    return this.#faults.length === 0;
  }

  #start() {
    const { bundle, what, corpus, keep } = this.#options;
    const progress = new SharedArrayBuffer(4);
    const worker = new Worker(bundle, {
      workerData: { what, corpus, keep, progress },
      execArgv: ['--enable-source-maps'],
    });
    const thread = {
      worker,
      at: new Int32Array(progress),
      last: -1,
      since: performance.now(),
      busy: undefined,
    };
    return new Promise((resolve, reject) => {
      worker.once('error', reject);
      worker.once('message', (names) => resolve({ ...thread, names }));
    });
  }

  /** Splits the cases of one task over the threads. */
  async #task(name, count) {
    const { seed } = this.#options;
    const begin = performance.now();
    const share = Math.ceil(count / this.#threads.length);
    const found = await Promise.all(
      this.#threads.map((thread, i) =>
        this.#stretch(thread, { name, seed, from: i * share, to: Math.min(count, (i + 1) * share) }),
      ),
    );
    const counts = {};
    for (const part of found) this.#add(name, part, counts);
    const rate = (count * 1000) / (performance.now() - begin);
    console.log(
      `  ${name.padEnd(16)} ${rate.toFixed(0).padStart(6)}/s  ${shares(counts, this.#options.what)}`,
    );
  }

  #stretch(thread, stretch) {
    return new Promise((resolve) => {
      const { worker } = thread;
      const failed = (error) => {
        this.#faults.push(`${stretch.name}, case ${thread.at[0]}: the thread ended: ${error.message}`);
        this.#threads = this.#threads.filter((each) => each !== thread);
        end(undefined);
      };
      const end = (found) => {
        worker.off('message', end);
        worker.off('error', failed);
        thread.busy = undefined;
        resolve(found);
      };
      thread.since = performance.now();
      thread.busy = { stretch, end };
      worker.on('message', end);
      worker.on('error', failed);
      worker.postMessage(stretch);
    });
  }

  /** Hung threads are ended, with the case that they hang in; the others go on. */
  #watch() {
    this.#resident = Math.max(this.#resident, process.memoryUsage().rss);
    for (const thread of this.#threads) {
      if (thread.at[0] !== thread.last) {
        thread.last = thread.at[0];
        thread.since = performance.now();
      }
      if (!thread.busy || performance.now() - thread.since < HANG_SECONDS * 1000) continue;
      const { stretch, end } = thread.busy;
      this.#faults.push(
        `${stretch.name}, seed ${stretch.seed}, case ${thread.last}: no end after ${HANG_SECONDS} s`,
      );
      this.#threads = this.#threads.filter((each) => each !== thread);
      thread.worker.terminate();
      end(undefined);
    }
  }

  #add(name, found, counts) {
    if (!found) return;
    for (const [key, count] of Object.entries(found.counts)) {
      counts[key] = (counts[key] ?? 0) + count;
      this.#totals[key] = (this.#totals[key] ?? 0) + count;
      this.#cases += count;
    }
    this.#slowest = Math.max(this.#slowest, found.slowestMilliseconds);
    const [early, late] = found.held;
    this.#growth = Math.max(this.#growth, late - early);
    if (late - early > GROWTH_BYTES) this.#faults.push(`${name}: memory grew by ${mib(late - early)}`);
    for (const { number, told } of found.violations) this.#faults.push(`${name}, case ${number}: ${told}`);
  }

  #close(everyStep) {
    const { jobs } = this.#options;
    const seconds = (performance.now() - this.#begin) / 1000;
    if (everyStep) this.#requireEveryStep();
    if (this.#resident > RESIDENT_BYTES(jobs))
      this.#faults.push(`the process took up ${mib(this.#resident)}`);
    console.log(
      `  ${this.#cases} cases in ${seconds.toFixed(0)} s, ${(this.#cases / seconds).toFixed(0)} a second; slowest ` +
        `${this.#slowest.toFixed(0)} ms; ${mib(this.#resident)} resident at most, ${mib(this.#growth)} growth at most`,
    );
    for (const fault of this.#faults) console.error(`  BROKEN ${fault}`);
    console.log(`  ${this.#faults.length} promise(s) broken`);
  }

  #requireEveryStep() {
    console.log('  where all of them ended:');
    for (const [key, count] of inOrder(this.#totals)) {
      const share = count / this.#cases;
      console.log(`    ${key.padEnd(26)} ${String(count).padStart(9)}  ${(share * 100).toFixed(1)} %`);
    }
    for (const step of STEPS) {
      const share = (this.#totals[step] ?? 0) / this.#cases;
      if (share < LEAST_SHARE)
        this.#faults.push(`only ${(share * 100).toFixed(2)} % of the cases fell at step ${step}`);
    }
  }
}

const inOrder = (counts) => {
  const rank = (key) => (STEPS.includes(key) ? STEPS.indexOf(key) : STEPS.length);
  return Object.entries(counts).sort(([a], [b]) => rank(a) - rank(b));
};

/** Payload cases by where they ended; parser inputs by how many kinds of ends there were. */
function shares(counts, what) {
  if (what === 'payloads')
    return inOrder(counts)
      .map(([key, count]) => `${key} ${count}`)
      .join(', ');
  const all = Object.values(counts).reduce((sum, count) => sum + count, 0);
  const accepted = Object.entries(counts).reduce(
    (sum, [key, n]) => sum + (key.startsWith('accepted') ? n : 0),
    0,
  );
  return `${Object.keys(counts).length} kinds of ends, ${((accepted / all) * 100).toFixed(1)} % accepted`;
}
