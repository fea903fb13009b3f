import { type Cut, type CutKind, UnitFileError } from '../unit/index.ts';
import { type PoweredUnit, powerUp } from '../virtual/index.ts';
import { type FileStore, openUnitStore } from '../workspace/index.ts';
import { CommandFailure, EXIT } from './exit.ts';
import { secretsFor } from './session.ts';
import type { Call } from './spec.ts';

/** A virtual unit under power, over its file. */
export interface UnitSession extends PoweredUnit {
  /** Makes everything durable and lets the file go. */
  close(): void;
}

/** How a unit is put under power. */
interface SessionOptions {
  /** When the power goes. */
  readonly cut?: Cut | undefined;
  /** Milliseconds to wait for whoever uses the unit now. */
  readonly patience?: number;
}

/** Puts a unit file under power, alone. Needs no workspace; a production unit's secrets need their passphrase. */
export async function openUnitSession(
  call: Call,
  path: string,
  { cut, patience }: SessionOptions = {},
): Promise<UnitSession> {
  return openSessionOver(call, path, await openUnitStore(path, 'write', patience), cut);
}

/** The same for what changes nothing, so that it works where nothing can be written. */
export async function readUnitSession(call: Call, path: string): Promise<UnitSession> {
  return openSessionOver(call, path, await openUnitStore(path, 'read'), undefined);
}

async function openSessionOver(
  call: Call,
  path: string,
  store: FileStore,
  cut: Cut | undefined,
): Promise<UnitSession> {
  try {
    const powered = await powerUp(store, {
      secretsFor: (production) => secretsFor(call, production),
      cut,
    });
    return { ...powered, close: () => closeStore(store) };
  } catch (error) {
    store.close();
    throw error instanceof UnitFileError ? unusable(path, error) : error;
  }
}

function unusable(path: string, { code, message }: UnitFileError): CommandFailure {
  return new CommandFailure(EXIT.notDone, code, `${path} cannot be used as a unit: ${message}`);
}

/** The power cut that --cut-after and --cut-kind schedule. */
export function cutOf(call: Call): Cut | undefined {
  const after = call.count('cut-after');
  if (after === undefined) return undefined;
  return { after, kind: (call.text('cut-kind') as CutKind | undefined) ?? 'middle' };
}

function closeStore(store: FileStore): void {
  try {
    store.flush();
  } finally {
    store.close();
  }
}
