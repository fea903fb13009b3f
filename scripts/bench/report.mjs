// What the bench prints: bounds, which are kept or missed, and figures that only inform.

/** Prints one line a figure and remembers whether a bound was missed. */
export class Report {
  #missed = 0;
  #bounds = 0;

  line(text) {
    console.log(text);
  }

  /** Opens a part: what is measured, and against what. */
  part(title) {
    console.log(`\n${title}`);
  }

  /** A figure that must be at most `limit`, or at least where `atLeast` is set. `detail` says where it comes from. */
  bound(title, value, limit, detail, { atLeast = false, unit = '' } = {}) {
    const kept = atLeast ? value >= limit : value <= limit;
    this.#bounds += 1;
    if (!kept) this.#missed += 1;
    const figure = `${number(value)}${unit}`.padStart(9);
    const rule = `${atLeast ? 'at least' : 'at most'} ${limit}${unit}`;
    console.log(
      `  ${title.padEnd(34)} ${figure}   ${rule.padEnd(15)} ${kept ? 'ok    ' : 'MISSED'}  ${detail}`,
    );
  }

  /** A figure without a bound. */
  figure(title, text) {
    console.log(`  ${title.padEnd(34)} ${text}`);
  }

  /** Ends the report; gives the exit status. */
  close() {
    console.log(`\n${this.#bounds - this.#missed} bounds kept, ${this.#missed} missed`);
    return this.#missed === 0 ? 0 : 1;
  }
}

function number(value) {
  return value >= 100 ? value.toFixed(0) : value.toFixed(2);
}
