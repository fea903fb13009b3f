import { join } from 'node:path';
import type { AgentUnit, Outbox } from '../broadcast/index.ts';
import {
  deviceOf,
  reportOfInstall,
  reportOfKeep,
  reportOfStart,
  type SuitReport,
  sealReport,
} from '../report/index.ts';
import { filesOn } from '../workspace/index.ts';
import type { Call } from './spec.ts';
import { authenticatorOf } from './unit-authenticator.ts';
import { memoryOf } from './unit-report.ts';
import { openUnitSession, type UnitSession } from './unit-session.ts';

/** Commands at the same unit are over soon; what waits for them, such as keeping what is on trial, should not fail for it. */
const PATIENCE_MS = 60_000;
const NOTHING_ASKED = { nonce: undefined, capabilities: false } as const;

/** Where signed reports go. */
export interface ReportPlaces {
  /** A folder for somebody to bring them home from. */
  readonly folder: string | undefined;
  /** What sends them. */
  readonly outbox: Outbox | undefined;
}

/** The unit in a file as an agent serves it: under power for each call, with a signed report of it where they have a place. */
export function agentUnit(call: Call, path: string, reports: ReportPlaces): AgentUnit {
  return {
    view: () => powered(call, path, (session) => session.unit.view()),
    install: (request) =>
      powered(call, path, async (session) => {
        const result = session.unit.install(request);
        await report(call, session, reports, () =>
          reportOfInstall(result, request.envelope, memoryOf(session), NOTHING_ASKED),
        );
        return result;
      }),
    start: () =>
      powered(call, path, async (session) => {
        const before = memoryOf(session);
        const result = session.unit.start();
        await report(call, session, reports, () => reportOfStart(result, before, NOTHING_ASKED));
        return result;
      }),
    keep: () =>
      powered(call, path, async (session) => {
        const result = session.unit.keep();
        await report(call, session, reports, () => reportOfKeep(result, memoryOf(session), NOTHING_ASKED));
        return result;
      }),
  };
}

async function powered<T>(
  call: Call,
  path: string,
  use: (session: UnitSession) => T | Promise<T>,
): Promise<T> {
  const session = await openUnitSession(call, path, { patience: PATIENCE_MS });
  try {
    return await use(session);
  } finally {
    session.close();
  }
}

/** Each report has the unit's age in its name, so that they lie in order and none takes another's place. */
async function report(
  call: Call,
  session: UnitSession,
  { folder, outbox }: ReportPlaces,
  make: () => SuitReport | undefined,
): Promise<void> {
  if (folder === undefined && !outbox) return;
  const made = make();
  if (!made) return;
  const { unit } = session;
  const authenticator = await authenticatorOf(call, session, 'report', false);
  const age = unit.age();
  const sealed = await sealReport(made, { deviceId: deviceOf(unit.record), age }, authenticator);
  outbox?.put(age, sealed);
  if (folder === undefined) return;
  const files = filesOn();
  files.makeFolder(folder);
  const name = `${unit.record.class_name}-${unit.record.serial}-${String(age).padStart(8, '0')}`;
  for (let nth = 0; ; nth++) if (files.createNew(join(folder, `${name}-${nth}.report`), sealed)) return;
}
