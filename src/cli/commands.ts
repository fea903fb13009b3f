import type { CommandSpec } from './spec.ts';
import { APPROVAL } from './table/approval.ts';
import { BROADCAST } from './table/broadcast.ts';
import { DESK } from './table/desk.ts';
import { FLEET } from './table/fleet.ts';
import { INCIDENT } from './table/incident.ts';
import { KEYS } from './table/keys.ts';
import { PLAN } from './table/plan.ts';
import { PRODUCTION } from './table/production.ts';
import { RECORDS } from './table/records.ts';
import { RELEASE } from './table/release.ts';
import { START } from './table/start.ts';
import { UNIT } from './table/unit.ts';
import { WAVES } from './table/waves.ts';

/** Every command, in the order of the job. Help, completion and the documentation read this table. */
export const COMMANDS: readonly CommandSpec[] = [
  ...START,
  ...KEYS,
  ...PRODUCTION,
  ...APPROVAL,
  ...RELEASE,
  ...PLAN,
  ...WAVES,
  ...BROADCAST,
  ...FLEET,
  ...UNIT,
  ...INCIDENT,
  ...RECORDS,
  ...DESK,
];

/** The groups of the help text, in order. */
export const GROUPS: readonly (readonly [CommandSpec['group'], string])[] = [
  ['start', 'Workspace and classes'],
  ['keys', 'Keys and custody'],
  ['production', 'Provisioning'],
  ['release', 'Releases'],
  ['plan', 'Before it is sent'],
  ['broadcast', 'Broadcast'],
  ['fleet', 'The fleet'],
  ['unit', 'A unit in the field (virtual)'],
  ['incident', 'When something went wrong'],
  ['records', 'Records'],
  ['desk', 'The desk'],
  ['shell', 'Shell'],
];
