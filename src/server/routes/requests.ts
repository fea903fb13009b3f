import { createRoute, z } from '@hono/zod-openapi';
import type { Context } from 'hono';
import {
  approve,
  freezeRequest,
  openRequest,
  requestJson,
  requestsJson,
  sealApproved,
  withdraw,
} from '../../release/index.ts';
import { requireRight } from '../access/guard.ts';
import type { DeskEnv } from '../context.ts';
import { EnvelopePlace, imagesNamed, progressTo } from '../held/sealing.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import {
  classNameSchema,
  documentSchema,
  fileIdSchema,
  keyAccessSchema,
  makeRequestSchema,
  reasonSchema,
} from './schemas.ts';

const TAGS = ['approvals'];
const responses = answers(documentSchema, 'the document');
const params = z.object({ class: classNameSchema, number: z.string().regex(/^\d{1,19}$/) });

/** Digits of a digest that a person compares at least: 64 bits, beyond what anybody searches for by chance. */
const digestSchema = z
  .string()
  .regex(/^[0-9a-f]{16,64}$/)
  .openapi({
    description: "16 to 64 digits of the image's SHA-256, from the build itself",
  });

const listRoute = createRoute({
  method: 'get',
  path: '/requests',
  tags: TAGS,
  summary: 'Sealing requests, decoded from what their requesters signed (fieldseal request list)',
  middleware: requireRight('read'),
  responses,
});
const makeRoute = createRoute({
  method: 'post',
  path: '/requests',
  tags: TAGS,
  summary: 'Ask for a release to be sealed (fieldseal request make); goes on as a job',
  middleware: requireRight('request'),
  request: jsonBody(makeRequestSchema),
  responses: answers(z.object({ job: fileIdSchema }), 'the job'),
});
const withdrawRoute = createRoute({
  method: 'post',
  path: '/requests/{class}/{number}/withdrawals',
  tags: TAGS,
  summary: 'Take back a sealing request (fieldseal withdraw)',
  middleware: requireRight('request'),
  request: { params, ...jsonBody(reasonSchema) },
  responses,
});
const withdrawApprovalRoute = createRoute({
  method: 'post',
  path: '/requests/{class}/{number}/approvals/{approver}/withdrawals',
  tags: TAGS,
  summary: 'Take back the approvals that one key gave (fieldseal withdraw --approver)',
  middleware: requireRight('approve'),
  request: { params: params.extend({ approver: classNameSchema }), ...jsonBody(reasonSchema) },
  responses,
});
const approveRoute = createRoute({
  method: 'post',
  path: '/requests/{class}/{number}/approvals',
  tags: TAGS,
  summary: "Approve another's sealing request with a person's key (fieldseal approve)",
  middleware: requireRight('approve'),
  request: {
    params,
    ...jsonBody(
      z
        .strictObject({
          approver: classNameSchema.openapi({ description: "the approver's key", example: 'bela' }),
          image_digest: digestSchema.optional(),
          ...keyAccessSchema,
        })
        .openapi('ApprovalRequest'),
    ),
  },
  responses,
});
const sealRoute = createRoute({
  method: 'post',
  path: '/requests/{class}/{number}/seals',
  tags: TAGS,
  summary: 'Seal what was approved (fieldseal seal --request); goes on as a job',
  middleware: requireRight('request'),
  request: {
    params,
    ...jsonBody(
      z
        .strictObject({ file: fileIdSchema, file_b: fileIdSchema.optional(), ...keyAccessSchema })
        .openapi('ApprovedSealRequest'),
    ),
  },
  responses: answers(z.object({ job: fileIdSchema }), 'the job'),
});

/** Two people: one asked for a release to be sealed, another one allows it. */
export function requestRoutes() {
  return newRoutes()
    .openapi(listRoute, async (c) =>
      c.json(
        { format: 'fieldseal.requests/1', requests: await requestsJson(await c.env.desk.workspace()) },
        200,
      ),
    )
    .openapi(makeRoute, async (c) => {
      const { desk } = c.env;
      const session = c.get('session');
      const {
        file,
        file_b,
        class: className,
        security_version,
        passphrase,
        pin,
        ...rest
      } = c.req.valid('json');
      const workspace = await desk.workspace();
      const images = imagesNamed(desk.uploads, session, { file, file_b });
      const secrets = desk.unlocked.secretsFor(session, { passphrase, pin });
      const job = desk.jobs.start(session, async (tell) => {
        const { opened, cautions } = await freezeRequest({
          workspace,
          secrets,
          className,
          images,
          ...rest,
          securityVersion: security_version,
          progress: progressTo(tell),
        });
        return { ...requestJson(opened), cautions };
      });
      return c.json({ job }, 200);
    })
    .openapi(withdrawRoute, async (c) => {
      const taken = await takeBack(c, c.req.valid('json').reason, undefined);
      return c.json(documentSchema.parse(taken), 200);
    })
    .openapi(withdrawApprovalRoute, async (c) => {
      const taken = await takeBack(c, c.req.valid('json').reason, c.req.valid('param').approver);
      return c.json(documentSchema.parse(taken), 200);
    })
    .openapi(approveRoute, async (c) => {
      const { desk } = c.env;
      const { class: className, number } = c.req.valid('param');
      const { approver, image_digest, ...given } = c.req.valid('json');
      const workspace = await desk.workspace();
      const { opened, record } = await approve({
        workspace,
        secrets: desk.unlocked.secretsFor(c.get('session'), given),
        request: `${className}/${number}`,
        approver,
        imageDigest: image_digest,
      });
      const told = {
        ...requestJson(await openRequest(workspace, opened.record)),
        format: 'fieldseal.approved/1',
        approver,
        record,
        digest_compared: image_digest !== undefined,
      };
      return c.json(told, 200);
    })
    .openapi(sealRoute, async (c) => {
      const { desk } = c.env;
      const session = c.get('session');
      const { class: className, number } = c.req.valid('param');
      const { file, file_b, ...given } = c.req.valid('json');
      const workspace = await desk.workspace();
      const images = imagesNamed(desk.uploads, session, { file, file_b });
      const secrets = desk.unlocked.secretsFor(session, given);
      const job = desk.jobs.start(session, async (tell) => {
        const place = new EnvelopePlace(workspace, className, number);
        const sealed = await sealApproved({
          workspace,
          secrets,
          request: `${className}/${number}`,
          images,
          out: place.path,
          progress: progressTo(tell),
        });
        return place.sealed(desk.uploads, session, sealed);
      });
      return c.json({ job }, 200);
    });
}

async function takeBack(c: Context<DeskEnv>, reason: string, approver: string | undefined) {
  const workspace = await c.env.desk.workspace();
  const name = `${c.req.param('class')}/${c.req.param('number')}`;
  const { request, approvals, tooLate } = await withdraw(workspace, name, { approver, reason });
  return { format: 'fieldseal.withdrawn/1', request, approvals, sealing_had_begun: tooLate };
}
