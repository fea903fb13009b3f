import type { KeyAccess, KeyDescription } from '../keys/index.ts';
import { accessTo, type Session } from './session.ts';

/** How the station itself reaches its wrapping key: by the encrypted file, wherever the workspace keeps its own copy. */
export function stationAccess(
  session: Session,
  station: KeyDescription,
): { readonly description: KeyDescription; readonly access: KeyAccess } {
  const { token: _, ...facts } = station;
  return { description: { ...facts, custody: 'file' }, access: accessTo(session, station.name) };
}
