import { listRecords, type Workspace } from '../../workspace/index.ts';

/** Class and number of every sealing request, by class, then number. */
export function listRequests(workspace: Workspace): string[] {
  return listRecords(workspace, 'requests')
    .filter((name) => /^[^/]+\/\d{1,19}$/.test(name))
    .toSorted((a, b) => compare(split(a), split(b)));
}

function split(name: string): readonly [string, bigint] {
  const [className, number] = name.split('/') as [string, string];
  return [className, BigInt(number)];
}

function compare(a: readonly [string, bigint], b: readonly [string, bigint]): number {
  if (a[0] !== b[0]) return a[0] < b[0] ? -1 : 1;
  return Number(a[1] - b[1]);
}
