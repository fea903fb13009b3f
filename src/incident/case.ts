import type { DeviceClass, readLedger, Workspace } from '../workspace/index.ts';
import type { Making } from './making.ts';
import type { KeySubject } from './subject.ts';

/** A ledger entry as steps look at it. */
export type Entry = ReturnType<typeof readLedger>[number];

/** An incident as its steps see it. */
export interface Case {
  readonly workspace: Workspace;
  readonly subject: KeySubject | undefined;
  readonly classes: readonly DeviceClass[];
  /** Ledger entries since it was opened. */
  readonly since: readonly Entry[];
}

/** One step of a response. What it says depends on the case. */
export interface Step {
  readonly id: string;
  readonly title: string;
  readonly why: string;
  /** The exact commands that do it; none where people do. */
  readonly commands: (about: Case) => readonly string[];
  /** What its command makes, for whoever does it otherwise; undefined where it makes nothing under a key of the workspace. */
  readonly makes?: (about: Case) => Making | undefined;
  /** What on the ledger shows that it was done; undefined where nothing does yet, or nothing could. */
  readonly evidence?: (about: Case) => string | undefined;
  /** Why it cannot be done here. */
  readonly impossible?: (about: Case) => string | undefined;
}

/** The entry that satisfies, told; for every class of the case where `each` is given. */
export function entryText({ number, time }: Entry): string {
  return `ledger entry ${number}, ${time.slice(0, 16)}Z`;
}

/** For every class one entry since the incident was opened, else undefined. */
export function forEachClass(
  { classes, since }: Case,
  fits: (entry: Entry, deviceClass: DeviceClass) => boolean,
): string | undefined {
  const found = classes.map((each) => since.find((entry) => fits(entry, each)));
  if (found.length === 0 || found.some((entry) => entry === undefined)) return undefined;
  return found.map((entry) => entryText(entry!)).join('; ');
}
