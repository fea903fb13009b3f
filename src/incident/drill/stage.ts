/** What a command gave. */
export interface Played {
  readonly status: number | null;
  /** Its --json document, or undefined. */
  readonly json: { readonly [name: string]: unknown } | undefined;
  readonly told: string;
}

/** Runs one command of this program in a folder. */
export type Play = (words: readonly string[], folder: string) => Played;

/** What a drill keeps at hand: folders, and files that are written or copied. */
export interface StageFiles {
  /** Copies a folder with everything in it: what a thief has who got in. */
  copy(from: string, to: string): void;
  /** Writes an image file of the demo kind. */
  image(file: string, fill: number): void;
  /** Removes a file, where it is there: the thief did not get that one. */
  forget(file: string): void;
}

/** One move of a drill, and whether it went as it must. */
export interface Move {
  readonly who: 'maker' | 'attacker' | 'unit';
  readonly what: string;
  readonly command: string;
  /** What must come of it, and what did. */
  readonly must: string;
  readonly found: string;
  readonly holds: boolean;
  /** Milliseconds since the drill began, when it ended. */
  readonly at: number;
}

/** What must come of a command: it is done, or a unit or the program says no, for this reason. */
export type Must = 'done' | { readonly refused: string };

interface Ask {
  readonly who?: Move['who'];
  readonly must?: Must;
  /** Preparation is played and checked, but stands not in the timeline where it holds. */
  readonly quiet?: boolean;
  readonly at?: string;
}

export const MAKER = 'maker';
export const ATTACKER = 'attacker';

/** Where a drill is played: every move is a real command, and is written down with what came of it. */
export class Stage {
  readonly moves: Move[] = [];
  readonly files: StageFiles;
  readonly #play: Play;
  readonly #tell: (move: Move) => void;
  readonly #began = Date.now();

  /** `tell` hears each move of the timeline as it ends. */
  constructor(play: Play, files: StageFiles, tell: (move: Move) => void = () => {}) {
    this.#play = play;
    this.files = files;
    this.#tell = tell;
  }

  /** Whether every move went as it must. */
  get holds(): boolean {
    return this.moves.every(({ holds }) => holds);
  }

  /** Plays a command (`line`, split at blanks) in the maker's folder, or another, and judges what came of it. */
  move(
    what: string,
    line: string,
    { who = 'maker', must = 'done', quiet = false, at = MAKER }: Ask = {},
  ): Played {
    const words = line.split(' ').filter((word) => word !== '');
    const played = this.#play([...words, '--json'], at);
    const found = foundIn(played);
    const wanted = must === 'done' ? 'done' : `refused: ${must.refused}`;
    const holds = found === wanted;
    const told = holds ? found : `${found} ${played.told}`.trim();
    if (!quiet || !holds)
      this.#enter({ who, what, command: `fieldseal ${line}`, must: wanted, found: told, holds });
    return played;
  }

  /** Preparation: a move that is told only where it fails. */
  prepare(line: string, at = MAKER): Played {
    return this.move('preparation', line, { quiet: true, at });
  }

  /** Writes down what was looked at and how it must be. */
  proof(what: string, command: string, must: string, found: string): void {
    const holds = must === found;
    this.#enter({ who: 'maker', what, command, must, found, holds });
  }

  #enter(move: Omit<Move, 'at'>): void {
    const entered = { ...move, at: Date.now() - this.#began };
    this.moves.push(entered);
    this.#tell(entered);
  }
}

function foundIn({ status, json }: Played): string {
  if (status === 0) return 'done';
  const refusal = json?.refusal as { code?: string } | null | undefined;
  const error = json?.error as { code?: string } | undefined;
  return `refused: ${refusal?.code ?? error?.code ?? `status ${status}`}`;
}
