import type { Incident, StepStanding } from '../../incident/index.ts';
import { trustUpdates } from '../../release/index.ts';
import type { Workspace } from '../../workspace/index.ts';
import { lastList } from './revoke.ts';

/** Days of silence after which a unit is looked for; the page lets them be changed. */
const SILENT_DAYS = 30;

interface Page {
  readonly says: string;
  readonly page: string;
  /** Name of the file that it is, where it is to be taken and not to be read. */
  readonly download?: string;
}

/** Pages of the desk that help with a step, and what came of it. */
export function pagesFor(
  workspace: Workspace,
  { key, classes }: Incident,
  { step, makes }: StepStanding,
): Page[] {
  if (makes?.what === 'revocation-list') return listPages(workspace, makes.root);
  const pages = PAGES[step.id];
  return pages ? [...new Map(pages(workspace, classes, key).map((each) => [each.page, each])).values()] : [];
}

type PagesOf = (workspace: Workspace, classes: readonly string[], key: string | undefined) => Page[];

const PAGES: Readonly<Record<string, PagesOf>> = {
  halt: () => [{ says: 'Pause or halt the broadcast here', page: '/broadcast' }],
  'at-risk': (_, classes) =>
    classes.map((name) => ({
      says: `Units of ${name} that were not heard of for ${SILENT_DAYS} days`,
      page: `/units?class=${name}&silent_days=${SILENT_DAYS}`,
    })),
  exposure: (_, __, key) =>
    key === undefined
      ? []
      : [{ says: `What ${key} exposes`, page: `/trust?key=${encodeURIComponent(`key ${key}`)}` }],
  send: (workspace, classes) => classes.flatMap((name) => trustUpdatePages(workspace, name)),
  reseal: (_, classes) =>
    classes.map((name) => ({ says: `Seal for ${name} here`, page: `/seal?class=${name}` })),
  rehearse: (_, classes) =>
    classes.map((name) => ({ says: `Rehearse for ${name} here`, page: `/rehearse?class=${name}` })),
  prove: () => [{ says: 'Challenge a unit here', page: '/challenge' }],
};

/** The last trust update of a class: to be tried on a unit, and to be taken from the desk. */
function trustUpdatePages(workspace: Workspace, className: string): Page[] {
  const last = trustUpdates(workspace, className).at(-1);
  if (!last) return [];
  const { file, sha256 } = last.envelope as { file: string; sha256: string };
  return [
    { says: `Try ${file} on a unit`, page: `/ask?envelope=${sha256}` },
    { says: `Look inside ${file}, or take it`, page: `/inside?file=${sha256}` },
  ];
}

function listPages(workspace: Workspace, root: string): Page[] {
  const list = lastList(workspace, root);
  if (!list) return [];
  const page = `/api/v1/revocation-lists/${root}/${list.number}`;
  return [{ says: `Take list ${list.number} of ${root}`, page, download: list.name }];
}
