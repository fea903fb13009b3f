import { createRoute, z } from '@hono/zod-openapi';
import { streamSSE } from 'hono/streaming';
import { type FlatImage, imageForSlot } from '../../image/index.ts';
import { readFigures, sendingOf, trustPlan } from '../../plan/index.ts';
import { seal } from '../../release/index.ts';
import {
  type DeviceClass,
  fileSource,
  foreseeNumber,
  listRecords,
  readClass,
  type Workspace,
} from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import { whileHere } from '../access/presence.ts';
import { EnvelopePlace, imagesNamed, progressTo } from '../held/sealing.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import { documentSchema, fileIdSchema, imageRequestSchema, sealRequestSchema } from './schemas.ts';

const TAGS = ['sealing'];

const imageRoute = createRoute({
  method: 'post',
  path: '/images',
  tags: TAGS,
  summary: 'A firmware file in the memory map of a class: where it lies, and what does not fit',
  middleware: requireRight('read'),
  request: jsonBody(imageRequestSchema),
  responses: answers(documentSchema, 'the image in its slot'),
});
const sealRoute = createRoute({
  method: 'post',
  path: '/seals',
  tags: TAGS,
  summary: 'Seal a release (fieldseal seal); goes on as a job',
  middleware: requireRight('request'),
  request: jsonBody(sealRequestSchema),
  responses: answers(z.object({ job: fileIdSchema }), 'the job'),
});
const watchRoute = createRoute({
  method: 'get',
  path: '/jobs/{id}',
  tags: TAGS,
  summary: 'How a job stands and how it ends, as server-sent events',
  middleware: requireRight('read'),
  request: { params: z.object({ id: fileIdSchema }) },
  responses: { 200: { content: { 'text/event-stream': { schema: z.string() } }, description: 'events' } },
});

/** Looking at an image, sealing it, and watching that. */
export function sealRoutes() {
  return newRoutes()
    .openapi(imageRoute, async (c) => {
      const { file, class: className, slot } = c.req.valid('json');
      const upload = c.env.desk.uploads.find(c.get('session'), file);
      const workspace = await c.env.desk.workspace();
      const deviceClass = await readClass(workspace, className);
      const { memory } = deviceClass;
      const source = fileSource(upload.path);
      try {
        const flat = imageForSlot(source, memory, { slotName: memory.slots[slot]?.name });
        const cost = await costOfSealing(workspace, deviceClass, flat.size);
        return c.json(
          { format: 'fieldseal.image/1', file: upload.name, memory, ...flatJson(flat), cost },
          200,
        );
      } finally {
        source.close();
      }
    })
    .openapi(sealRoute, async (c) => {
      const { desk } = c.env;
      const session = c.get('session');
      const {
        file,
        file_b,
        class: className,
        version,
        detached,
        signers,
        sequence,
        passphrase,
        pin,
        ...rest
      } = c.req.valid('json');
      const workspace = await desk.workspace();
      const images = imagesNamed(desk.uploads, session, { file, file_b });
      const secrets = desk.unlocked.secretsFor(session, { passphrase, pin });
      const number = sequence ?? foreseeNumber(workspace, await readClass(workspace, className));
      const job = desk.jobs.start(session, async (tell) => {
        const place = new EnvelopePlace(workspace, className, number);
        const sealed = await seal({
          workspace,
          secrets,
          className,
          images,
          version,
          out: place.path,
          detached,
          signers,
          sequence,
          securityVersion: rest.security_version,
          description: rest.description,
          progress: progressTo(tell),
        });
        return place.sealed(desk.uploads, session, sealed);
      });
      return c.json({ job }, 200);
    })
    .openapi(watchRoute, (c) => {
      const { desk } = c.env;
      const session = c.get('session');
      const events = desk.jobs.watch(session, c.req.valid('param').id);
      return streamSSE(c, (stream) =>
        whileHere(desk, session, c.req.raw.signal, async (signal) => {
          for await (const { event, ...data } of events(signal))
            await stream.writeSSE({ event, data: JSON.stringify(data) });
        }),
      );
    });
}

/** What sending it would take, by the trust plan of the class and over its links, or all known ones where it names none. */
async function costOfSealing(workspace: Workspace, deviceClass: DeviceClass, imageBytes: number) {
  const figures = await readFigures(workspace);
  const plan = await trustPlan(workspace, deviceClass, figures);
  const added = plan.alternatives.find(({ chosen }) => chosen)?.added_bytes ?? 0;
  const units = Math.max(1, listRecords(workspace, 'units', deviceClass.name).length);
  const links = (deviceClass.links.length > 0 ? deviceClass.links : figures.links).map((name) => {
    const { frames, airTime, timeToComplete } = sendingOf(figures.link(name), imageBytes + added, units);
    return { link: name, frames, air_time_s: airTime, time_to_complete_s: timeToComplete };
  });
  return { image_bytes: imageBytes, added_bytes: added, units, links };
}

function flatJson({ format: sourceFormat, slot, address, size, leftOut, gaps, vectorTable }: FlatImage) {
  return {
    source_format: sourceFormat,
    slot,
    address,
    size_bytes: size,
    left_out: leftOut,
    gaps,
    vector_table: vectorTable ?? null,
  };
}
