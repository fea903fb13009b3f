import { useCallback, useEffect, useState } from 'preact/hooks';
import { type DeskFile, get, type Problem, post } from './api.ts';
import { choose, type Place } from './router.ts';
import type { Play } from './shapes.ts';
import { type Fetched, useDocument, useWork } from './use.ts';

/** A file that the address names by its SHA-256, so that the address still means it after a reload, or for somebody else. */
export interface NamedFile {
  readonly file: DeskFile | undefined;
  readonly problem: Fetched<DeskFile>['problem'];
  /** Puts another file in its place, in the address too. */
  take(file: DeskFile): void;
}

const brought = new Map<string, DeskFile>();

/** The file under a name of the address. `clears`: choices that no longer hold once it is another. */
export function useNamedFile(place: Place, name: string, clears: readonly string[] = []): NamedFile {
  const digest = place.query.get(name) ?? undefined;
  const known = digest === undefined ? undefined : brought.get(digest);
  const found = useDocument<DeskFile>(digest && !known ? `/files/by-digest/${digest}` : undefined);
  const take = (file: DeskFile) => {
    brought.set(file.sha256, file);
    choose({ [name]: file.sha256, ...Object.fromEntries(clears.map((each) => [each, undefined])) });
  };
  return { file: known ?? found.value, problem: found.problem, take };
}

/** Files that the address names, in the order in which they were brought. */
export interface NamedFiles {
  readonly files: readonly DeskFile[];
  readonly problem: Problem | undefined;
  add(file: DeskFile): void;
  leaveOut(file: DeskFile): void;
}

/** The files under one name of the address. */
export function useNamedFiles(place: Place, name: string): NamedFiles {
  const [files, setFiles] = useState<readonly DeskFile[]>([]);
  const { run, problem } = useWork();
  const asked = place.query.get(name) ?? '';
  const digests = asked === '' ? [] : asked.split(',');
  useEffect(() => {
    let wanted = true;
    run(async () => {
      const found = await Promise.all(
        digests.map((digest) => brought.get(digest) ?? get<DeskFile>(`/files/by-digest/${digest}`)),
      );
      if (wanted) setFiles(found);
    });
    return () => {
      wanted = false;
    };
  }, [asked]);
  const set = (those: readonly string[]) => choose({ [name]: those.join(',') });
  return {
    files: files.filter(({ sha256 }) => digests.includes(sha256)),
    problem,
    add: (file) => {
      brought.set(file.sha256, file);
      set([...digests.filter((each) => each !== file.sha256), file.sha256]);
    },
    leaveOut: ({ sha256 }) => set(digests.filter((each) => each !== sha256)),
  };
}

/** The unit that the address names: a unit file of the workspace, or one that was brought. */
export interface NamedUnit {
  readonly play: Play | undefined;
  readonly problem: Fetched<Play>['problem'];
  /** It did something, and stands otherwise now. */
  moved(play: Play): void;
  /** Takes a new copy of the file, as it lies there. */
  afresh(): void;
}

/** Takes a copy of the unit that the address names, each time that it names another. */
export function useNamedUnit(place: Place): NamedUnit {
  const unit = place.query.get('unit') ?? undefined;
  const file = useNamedFile(place, 'unit-file');
  const wanted = unit === undefined ? file.file && { file: file.file.id } : { unit };
  const [state, setState] = useState<{ of: string; play: Play }>();
  const [round, setRound] = useState(0);
  const work = useWork();
  const of = wanted && JSON.stringify(wanted);
  useEffect(() => {
    if (wanted === undefined) return;
    let still = true;
    work.run(async () => {
      const play = await post<Play>('/plays', wanted);
      if (still) setState({ of: of!, play });
    });
    return () => {
      still = false;
    };
  }, [of, round]);
  return {
    play: state !== undefined && state.of === of ? state.play : undefined,
    problem: file.problem ?? work.problem,
    moved: (play) => of !== undefined && setState({ of, play }),
    afresh: useCallback(() => setRound((n) => n + 1), []),
  };
}
