import { type JsonObject, listRecords, type Workspace } from '../../workspace/index.ts';
import { SealError } from '../error.ts';
import { openRequest } from './open.ts';
import { requestJson } from './request-json.ts';

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

/** Every sealing request as `requestJson` shows it; one that was tampered with does not hide the others. */
export async function requestsJson(workspace: Workspace): Promise<JsonObject[]> {
  const rows: JsonObject[] = [];
  for (const name of listRequests(workspace)) rows.push(await rowOf(workspace, name));
  return rows;
}

async function rowOf(workspace: Workspace, name: string): Promise<JsonObject> {
  try {
    return requestJson(await openRequest(workspace, name));
  } catch (error) {
    if (!(error instanceof SealError)) throw error;
    return { request: name, state: 'does not hold', says: error.message };
  }
}
