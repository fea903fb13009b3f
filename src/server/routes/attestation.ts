import { createRoute, z } from '@hono/zod-openapi';
import {
  ATTESTATION_LIMITS,
  type AttestationAppraisal,
  CHALLENGE_REFUSALS,
  type RegionRequest,
} from '../../attestation/index.ts';
import { fromHex, toHex } from '../../bytes/index.ts';
import { takeAppraisal } from '../../fleet/index.ts';
import {
  appraisalJson,
  appraiseOnRecord,
  claimsJson,
  makeChallenge,
  notMeasurable,
  openReferences,
  unitOnRecord,
} from '../../verifier/index.ts';
import type { Workspace } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import type { Desk } from '../context.ts';
import { DeskError } from '../error.ts';
import { explain } from '../explain.ts';
import type { Answered } from '../held/answer-play.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import { classNameSchema, documentSchema, fileIdSchema, keyAccessSchema, serialSchema } from './schemas.ts';

const TAGS = ['attestation'];
const responses = answers(documentSchema, 'the document');
const middleware = requireRight('operate');
const params = z.object({ id: fileIdSchema });
const hexOf = (most: number) =>
  z
    .string()
    .regex(/^(?:[0-9a-f]{2})+$/)
    .max(2 * most);
const addressSchema = z.int().nonnegative().max(Number.MAX_SAFE_INTEGER);

const regionSchema = z.union([
  z.strictObject({ name: z.string().min(1).max(64) }),
  z.strictObject({ address: addressSchema, size_bytes: z.int().positive() }),
]);
const challengeRoute = createRoute({
  method: 'post',
  path: '/challenges',
  tags: TAGS,
  summary: 'Make a challenge for a unit on record and take it down (fieldseal challenge)',
  middleware,
  request: jsonBody(
    z
      .strictObject({ class: classNameSchema, serial: serialSchema, region: regionSchema })
      .openapi('ChallengeRequest'),
  ),
  responses,
});
const answerRoute = createRoute({
  method: 'post',
  path: '/plays/{id}/answers',
  tags: TAGS,
  summary: 'Have the copy of a unit answer a challenge (fieldseal answer)',
  middleware,
  request: {
    params,
    ...jsonBody(
      z
        .strictObject({ challenge: hexOf(ATTESTATION_LIMITS.challengeSize), ...keyAccessSchema })
        .openapi('AnswerRequest'),
    ),
  },
  responses,
});
const changeRoute = createRoute({
  method: 'post',
  path: '/plays/{id}/changes',
  tags: TAGS,
  summary: 'Flip one bit in the flash of the copy, as somebody with a probe would',
  middleware: requireRight('read'),
  request: {
    params,
    ...jsonBody(z.strictObject({ address: addressSchema, ...keyAccessSchema }).openapi('ChangeRequest')),
  },
  responses,
});
const appraiseRoute = createRoute({
  method: 'post',
  path: '/appraisals',
  tags: TAGS,
  summary: 'Appraise an answer against the records, and enter the result (fieldseal appraise)',
  middleware,
  request: jsonBody(
    z
      .strictObject({
        token: hexOf(ATTESTATION_LIMITS.tokenSize),
        file: fileIdSchema.optional().openapi({ description: 'the sealed envelope of what should run' }),
        image: fileIdSchema.optional(),
        ...keyAccessSchema,
      })
      .openapi('AppraisalRequest'),
  ),
  responses,
});

/** Asking units to prove themselves. */
export function attestationRoutes() {
  return newRoutes()
    .openapi(challengeRoute, async (c) => {
      const { class: className, serial, region: asked } = c.req.valid('json');
      const workspace = await c.env.desk.workspace();
      const unit = unitOnRecord(workspace, className, serial);
      if (!unit) {
        throw new DeskError(
          'not-there',
          `no unit ${serial} of class ${className} is on record`,
          'take in its batch result first: fieldseal batch accept',
        );
      }
      const region: RegionRequest =
        'name' in asked ? asked : { address: asked.address, length: asked.size_bytes };
      const refusal = notMeasurable(region, unit);
      if (refusal) {
        const { says, next } = CHALLENGE_REFUSALS[refusal];
        throw new DeskError('request-wrong', `${says}: no challenge was made`, next);
      }
      const { bytes, json } = makeChallenge(workspace, unit, region);
      return c.json(
        documentSchema.parse({
          format: 'fieldseal.desk-challenge/1',
          ...json,
          challenge: toHex(bytes),
          size_bytes: bytes.length,
        }),
        200,
      );
    })
    .openapi(answerRoute, async (c) => {
      const { desk } = c.env;
      const { challenge, ...given } = c.req.valid('json');
      const secrets = desk.unlocked.secretsFor(c.get('session'), given);
      const answered = await desk.plays.answer(
        c.get('session'),
        c.req.valid('param').id,
        fromHex(challenge),
        secrets,
      );
      return c.json(documentSchema.parse(answeredJson(answered)), 200);
    })
    .openapi(changeRoute, async (c) => {
      const { desk } = c.env;
      const { address, ...given } = c.req.valid('json');
      const session = c.get('session');
      const told = await desk.plays.flipBit(
        session,
        c.req.valid('param').id,
        address,
        desk.unlocked.secretsFor(session, given),
      );
      return c.json({ format: 'fieldseal.play/1', ...told }, 200);
    })
    .openapi(appraiseRoute, async (c) => {
      const { desk } = c.env;
      const { token, file, image, ...given } = c.req.valid('json');
      const session = c.get('session');
      const [envelope, beside] = [file, image].map((id) => id && desk.uploads.find(session, id).path);
      const references = openReferences(envelope, beside);
      try {
        const verifier = {
          workspace: await desk.workspace(),
          secrets: desk.unlocked.secretsFor(session, given),
        };
        const appraisal = await appraiseOnRecord(verifier, fromHex(token), {
          image: (digest, { memory }) => references.find(digest, memory),
          recovery: undefined,
          leastNumber: undefined,
        });
        const told = { format: 'fieldseal.appraisal/1', ...appraisalJson(appraisal) };
        const cautions = await tellFleet(desk, verifier.workspace, fromHex(token), appraisal);
        return c.json(documentSchema.parse({ ...told, cautions }), 200);
      } finally {
        references.close();
      }
    });
}

/** The fleet store has it too, where there is one; what it could not take down is told, and takes nothing from the appraisal. */
async function tellFleet(
  desk: Desk,
  workspace: Workspace,
  token: Uint8Array,
  appraisal: AttestationAppraisal,
): Promise<string[]> {
  try {
    const store = await desk.fleet.storeIfKept();
    if (store) await takeAppraisal(store, workspace, token, appraisal);
    return [];
  } catch (error) {
    return [`the fleet store has not heard of it: ${explain(error).message}`];
  }
}

function answeredJson(answered: Answered): object {
  const format = 'fieldseal.desk-answer/1';
  if (!answered.ok) {
    const { refusal, detail } = answered;
    return {
      format,
      token: null,
      refusal: { code: refusal, ...CHALLENGE_REFUSALS[refusal], detail },
    };
  }
  const { token, container, algorithm, claims, measured } = answered;
  return {
    format,
    token: toHex(token),
    refusal: null,
    size_bytes: token.length,
    container,
    algorithm,
    claims: claimsJson(claims, measured),
  };
}
