import { sourceOf } from '../bytes/index.ts';
import { classRecord } from '../provision/index.ts';
import { requireEnvelope, type Subject } from '../rehearsal/index.ts';
import { openUnitFile, UNIT_LIMITS, UnitFileError, type UnitRecord } from '../unit/index.ts';
import {
  fileSource,
  openUnitStore,
  openWorkspace,
  readClass,
  type Workspace,
  WorkspaceError,
} from '../workspace/index.ts';
import { timeOf } from './date.ts';
import { CommandFailure, EXIT, wrongUse } from './exit.ts';
import { trialMark } from './session.ts';
import type { Call } from './spec.ts';
import { readUnitSession } from './unit-session.ts';

/** What a rehearsal is about, and where its outcome is entered. */
export interface RehearsalCase {
  readonly subject: Subject;
  /** Undefined where a unit file was named and there is no workspace of its vendor around. */
  readonly workspace: Workspace | undefined;
  /** Which unit, in words. */
  readonly told: string;
}

type Asked = Pick<Subject, 'record' | 'state' | 'macKeys' | 'unwrappers'>;

const ANY_SERIAL = 'rehearsal';

/** Payload and unit, as the call names them. Opens no key that lies under a passphrase. */
export async function rehearsalCase(call: Call): Promise<RehearsalCase> {
  const [unitFile, className] = [call.text('unit'), call.text('class')];
  if ((unitFile === undefined) === (className === undefined)) {
    throw wrongUse('name one: --unit FILE or --class NAME', 'see: fieldseal rehearse --help');
  }
  const image = call.text('image');
  const offer = {
    envelope: readWhole(call.args[0]!),
    ...(image !== undefined && { image: readWhole(image) }),
  };
  const now = timeOf(call);
  if (unitFile !== undefined) {
    const asked = await unitIn(call, unitFile);
    const { record } = asked;
    const workspace = await workspaceAround(call, record);
    requireEnvelope(sourceOf(offer.envelope), call.args[0]!, workspace);
    const told = `unit ${record.serial} (${record.class_name})${record.trial ? '  [TRIAL unit]' : ''}`;
    return { subject: { offer, now, ...asked }, workspace, told };
  }
  const workspace = await openWorkspace(call.workspaceOption);
  requireEnvelope(sourceOf(offer.envelope), call.args[0]!, workspace);
  const deviceClass = await readClass(workspace, className!);
  const serial = call.text('serial') ?? ANY_SERIAL;
  const record = classRecord(workspace, deviceClass, { serial, cohort: call.text('cohort') });
  const told = `class ${className}, a unit as production leaves it with the release before this one on board${trialMark(workspace)}`;
  return { subject: { offer, now, record }, workspace, told };
}

/** A trial unit with its secrets, which lie in clear; of a production unit the record only. */
async function unitIn(call: Call, path: string): Promise<Asked> {
  const record = await recordIn(path);
  if (!record.trial) return { record };
  const session = await readUnitSession(call, path);
  try {
    const { state, macKeys, unwrappers } = session.unit.view();
    return { record, state, macKeys, ...(unwrappers && { unwrappers }) };
  } finally {
    session.close();
  }
}

async function recordIn(path: string): Promise<UnitRecord> {
  const store = await openUnitStore(path, 'read');
  try {
    return openUnitFile(store).record;
  } catch (error) {
    if (!(error instanceof UnitFileError)) throw error;
    throw new CommandFailure(EXIT.notDone, error.code, `${path} cannot be used as a unit: ${error.message}`);
  } finally {
    store.close();
  }
}

/** The workspace that the unit belongs to, where there is one around. */
async function workspaceAround(call: Call, record: UnitRecord): Promise<Workspace | undefined> {
  try {
    const workspace = await openWorkspace(call.workspaceOption);
    const deviceClass = await readClass(workspace, record.class_name);
    return deviceClass.name === record.class_name ? workspace : undefined;
  } catch (error) {
    if (error instanceof WorkspaceError && ['not-a-workspace', 'not-found'].includes(error.code))
      return undefined;
    throw error;
  }
}

function readWhole(path: string): Uint8Array {
  const source = fileSource(path);
  try {
    const largest = UNIT_LIMITS.messageBytes.value;
    if (source.size <= largest) return new Uint8Array(source.read(0, source.size));
    throw wrongUse(
      `${path} has ${source.size} bytes; a rehearsal holds at most ${largest} in memory`,
      'an image of that size: check it on a unit, and rehearse a small one of the same class',
    );
  } finally {
    source.close();
  }
}
