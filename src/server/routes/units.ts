import { createRoute, z } from '@hono/zod-openapi';
import { classRecord } from '../../provision/index.ts';
import { checkForUnit, emptyState, STEPS, toJson, type UnitView } from '../../unit/index.ts';
import { type FileSource, fileSource, readClass, type Workspace } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import type { Session } from '../access/sessions.ts';
import type { Desk } from '../context.ts';
import { DeskError } from '../error.ts';
import { outcomeJson } from '../held/outcome.ts';
import type { Act } from '../held/plays.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import {
  actRequestSchema,
  checkRequestSchema,
  documentSchema,
  fileIdSchema,
  playRequestSchema,
} from './schemas.ts';

const TAGS = ['units'];
const middleware = requireRight('read');
const responses = answers(documentSchema, 'the document');
const params = z.object({ id: fileIdSchema });

const listRoute = createRoute({
  method: 'get',
  path: '/units',
  tags: TAGS,
  summary: 'Unit files that lie in the workspace',
  middleware,
  responses,
});
const beginRoute = createRoute({
  method: 'post',
  path: '/plays',
  tags: TAGS,
  summary: 'Take a copy of a unit to play with; the unit file itself is never touched',
  middleware,
  request: jsonBody(playRequestSchema),
  responses,
});
const lookRoute = createRoute({
  method: 'get',
  path: '/plays/{id}',
  tags: TAGS,
  summary: 'How the copy stands: slots, floors, flash',
  middleware,
  request: { params },
  responses,
});
const actRoute = createRoute({
  method: 'post',
  path: '/plays/{id}/acts',
  tags: TAGS,
  summary: 'Install, start or keep, with a power cut at any flash operation',
  middleware,
  request: { params, ...jsonBody(actRequestSchema) },
  responses,
});
const checkRoute = createRoute({
  method: 'post',
  path: '/checks',
  tags: TAGS,
  summary: 'What a unit would say to an envelope, step by step (fieldseal check)',
  middleware,
  request: jsonBody(checkRequestSchema),
  responses,
});

/** What each step asks, by its name. */
const ASKS = Object.fromEntries(STEPS.map(({ name, asks }) => [name, asks]));

/** Units to judge envelopes, and to play with. */
export function unitRoutes() {
  return newRoutes()
    .openapi(listRoute, async (c) =>
      c.json({ format: 'fieldseal.unit-files/1', units: unitFiles(await c.env.desk.workspace()) }, 200),
    )
    .openapi(beginRoute, async (c) => {
      const { unit, file, ...given } = c.req.valid('json');
      const { desk } = c.env;
      const { name, path } = await placeOf(desk, c.get('session'), unit, file);
      const told = await reading([path], ([source]) =>
        desk.plays.begin(c.get('session'), name, source!, desk.unlocked.secretsFor(c.get('session'), given)),
      );
      return c.json({ format: 'fieldseal.play/1', ...told }, 200);
    })
    .openapi(lookRoute, async (c) => {
      const { desk } = c.env;
      const secrets = desk.unlocked.secretsFor(c.get('session'), {});
      const told = await desk.plays.look(c.get('session'), c.req.valid('param').id, secrets);
      return c.json({ format: 'fieldseal.play/1', ...told }, 200);
    })
    .openapi(actRoute, async (c) => {
      const { desk } = c.env;
      const { act, file, image, cut, trial, ...given } = c.req.valid('json');
      const paths = [file, image].map((id) => id && desk.uploads.find(c.get('session'), id).path);
      const options = {
        secrets: desk.unlocked.secretsFor(c.get('session'), given),
        cut,
        trial,
        now: (await desk.workspace()).now(),
      };
      const outcome = await reading(paths, ([envelope, beside]) =>
        desk.plays.act(c.get('session'), c.req.valid('param').id, actOf(act, envelope, beside), options),
      );
      return c.json(documentSchema.parse(outcomeJson(outcome)), 200);
    })
    .openapi(checkRoute, async (c) => {
      const { desk } = c.env;
      const { file, image, play, class: className } = c.req.valid('json');
      const session = c.get('session');
      const workspace = await desk.workspace();
      const unit =
        play === undefined
          ? await unitOfClass(workspace, className!)
          : await desk.plays.view(session, play, desk.unlocked.secretsFor(session, {}));
      const now = workspace.now();
      const paths = [file, image].map((id) => id && desk.uploads.find(session, id).path);
      const verdict = await reading(paths, async ([envelope, beside]) =>
        toJson(checkForUnit({ unit, envelope: envelope!, image: beside, now })),
      );
      return c.json(documentSchema.parse({ ...verdict, asks: ASKS }), 200);
    });
}

/** A unit as production would leave it today; one that holds secrets of its class is only played with its file. */
async function unitOfClass(workspace: Workspace, className: string): Promise<UnitView> {
  const deviceClass = await readClass(workspace, className);
  if (deviceClass.scheme === 'symmetric' || deviceClass.confidentiality !== 'none') {
    throw new DeskError(
      'request-wrong',
      `units of class ${className} decide with secret keys, which the desk does not open for a question`,
      'choose a unit file of the class instead',
    );
  }
  const record = classRecord(workspace, deviceClass, { serial: 'any' });
  return { record, macKeys: new Map(), unwrappers: [], state: emptyState(record), precursor: undefined };
}

function actOf(act: Act['act'], envelope: FileSource | undefined, image: FileSource | undefined): Act {
  if (act !== 'install') return { act };
  if (envelope) return { act, envelope, image };
  throw new DeskError(
    'request-wrong',
    'an install needs an envelope',
    'drop one at the desk and name it as file',
  );
}

/**
 * Unit files in the workspace folder itself and in units/: names, never paths, come from outside. One whose areas lie
 * on devices is looked at where these are.
 */
function unitFiles(workspace: Workspace): string[] {
  const named = (...folder: string[]) =>
    workspace.files
      .list(workspace.path(...folder))
      .filter((name, _, all) => name.endsWith('.unit') && !all.includes(`${name}.areas`))
      .map((name) => [...folder, name].join('/'));
  return [...named(), ...named('units')];
}

async function placeOf(desk: Desk, session: Session, unit: string | undefined, file: string | undefined) {
  if (file !== undefined) return desk.uploads.find(session, file);
  const workspace = await desk.workspace();
  const name = unitFiles(workspace).find((each) => each === unit);
  if (name !== undefined) return { name, path: workspace.path(...name.split('/')) };
  throw new DeskError(
    'not-there',
    'there is no such unit file in the workspace',
    'provision one there: fieldseal provision CLASS --serial 0001 --out 0001.unit',
  );
}

/** Lends files open for reading. */
async function reading<T>(
  paths: readonly (string | undefined)[],
  use: (sources: readonly (FileSource | undefined)[]) => Promise<T>,
): Promise<T> {
  const sources = paths.map((path) => (path === undefined ? undefined : fileSource(path)));
  try {
    return await use(sources);
  } finally {
    for (const source of sources) source?.close();
  }
}
