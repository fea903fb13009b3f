import { z } from '@hono/zod-openapi';
import { ROLE_NAMES } from '../access/roles.ts';

/** Every error, whichever route: what happened, and what to do next. */
export const errorSchema = z
  .object({
    format: z.literal('fieldseal.error/1'),
    error: z.object({
      code: z.string(),
      message: z.string(),
      hint: z.string().nullable(),
      field: z
        .string()
        .optional()
        .openapi({ description: 'the field of the request that it is about', example: 'make.name' }),
      mistakes: z
        .array(
          z.object({
            line: z.int().positive(),
            column: z.int().positive(),
            field: z.string(),
            expected: z.string(),
            found: z.string(),
            says: z.string().optional(),
            example: z.string().optional(),
          }),
        )
        .optional()
        .openapi({
          description: 'where it is about a text that people write: each mistake, and where it stands',
        }),
    }),
  })
  .openapi('Error');

/** A document in one of the published formats (folder `schemas` of the project). */
export const documentSchema = z
  .looseObject({ format: z.string().startsWith('fieldseal.') })
  .openapi('Document', { description: 'A document in the published format that its field format names.' });

export const sessionSchema = z
  .object({
    who: z.string(),
    role: z.enum(ROLE_NAMES),
    rights: z.array(z.string()),
    /** When a held passphrase is forgotten; null where none is held. */
    unlocked_until: z.iso.datetime().nullable(),
  })
  .openapi('Session');

export const uploadSchema = z
  .object({
    id: z.string(),
    name: z.string(),
    size_bytes: z.int().nonnegative(),
    sha256: z.string().length(64),
  })
  .openapi('File');

/** Name of a file that was dropped at the desk. */
export const fileIdSchema = z.string().regex(/^[A-Za-z0-9_-]{43}$/);

/** SHA-256 of a file: what an address names it by, since that outlives a session. */
export const sha256Schema = z.string().regex(/^[0-9a-f]{64}$/);

const nameSchema = z.string().regex(/^[a-z0-9][a-z0-9.-]{0,63}$/);

export const classNameSchema = nameSchema.openapi({ example: 'vent' });

/** Serial number of a unit. */
export const serialSchema = z.string().regex(/^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/);

/** How keys are opened; both may be left out where a passphrase is held. */
export const keyAccessSchema = {
  passphrase: z.string().min(1).max(1024).optional(),
  pin: z.string().min(1).max(256).optional(),
};

export const checkRequestSchema = z
  .strictObject({
    file: fileIdSchema.openapi({ description: 'the envelope' }),
    image: fileIdSchema.optional(),
    play: fileIdSchema.optional().openapi({ description: 'the unit that judges' }),
    class: classNameSchema
      .optional()
      .openapi({ description: 'or a unit of this class, as production would leave it today' }),
  })
  .refine(({ play, class: className }) => (play === undefined) !== (className === undefined), {
    error: 'name one judge: play or class',
  })
  .openapi('CheckRequest');

export const rehearsalRequestSchema = z
  .strictObject({
    file: fileIdSchema.openapi({ description: 'the payload that is to be sent' }),
    image: fileIdSchema.optional(),
    class: classNameSchema.openapi({ description: 'against units of this class, as production leaves them' }),
  })
  .openapi('RehearsalRequest');

export const forgeryRequestSchema = rehearsalRequestSchema
  .extend({
    forgery: z.string().max(200).openapi({ description: 'name of one row of the table of forgeries' }),
  })
  .openapi('ForgeryRequest');

export const imageRequestSchema = z
  .strictObject({ file: fileIdSchema, class: classNameSchema, slot: z.int().min(0).max(1).default(0) })
  .openapi('ImageRequest');

export const sealRequestSchema = z
  .strictObject({
    file: fileIdSchema,
    file_b: fileIdSchema.optional(),
    class: classNameSchema,
    version: z.string().min(1).max(64),
    detached: z.boolean().default(false),
    security_version: z.int().min(0).max(0xffff_ffff).optional(),
    signers: z.array(nameSchema).max(8).default([]),
    sequence: z
      .string()
      .regex(/^[1-9]\d{0,18}$/)
      .transform(BigInt)
      .optional()
      .openapi({
        type: 'string',
        description: 'this sequence number instead of the next one',
        example: '41',
      }),
    description: z.string().max(1024).optional(),
    ...keyAccessSchema,
  })
  .openapi('SealRequest');

export const makeRequestSchema = sealRequestSchema
  .extend({
    requester: nameSchema.openapi({ description: 'the key of the person who asks', example: 'ada' }),
    days: z.int().min(1).max(90).optional(),
  })
  .openapi('SealingRequest');

/** Why something is taken back, for the ledger. */
export const reasonSchema = z.strictObject({ reason: z.string().trim().min(1).max(2000) }).openapi('Reason');

export const evidenceRequestSchema = z
  .strictObject({
    release: z
      .string()
      .regex(/^[a-z0-9][a-z0-9.-]{0,63}\/\d{1,19}$/)
      .openapi({ example: 'vent/2' }),
    envelope: fileIdSchema.optional(),
    rehearsals: z.array(fileIdSchema).max(8).default([]),
    acceptance: z.array(fileIdSchema).max(8).default([]),
  })
  .openapi('EvidenceRequest');

export const playRequestSchema = z
  .strictObject({ unit: z.string().max(128).optional(), file: fileIdSchema.optional(), ...keyAccessSchema })
  .openapi('PlayRequest');

export const actRequestSchema = z
  .strictObject({
    act: z.enum(['install', 'start', 'keep']),
    file: fileIdSchema.optional(),
    image: fileIdSchema.optional(),
    cut: z
      .strictObject({ after: z.int().nonnegative(), kind: z.enum(['before', 'middle', 'after']) })
      .optional(),
    trial: z
      .boolean()
      .default(false)
      .openapi({ description: 'show what would happen and leave the unit as it is' }),
    ...keyAccessSchema,
  })
  .openapi('ActRequest');

export const entryRequestSchema = z.strictObject({ entry: fileIdSchema }).openapi('EntryRequest');
export const loginRequestSchema = z
  .strictObject({ name: z.string().min(1).max(64), password: z.string().min(1).max(1024) })
  .openapi('LoginRequest');
export const unlockRequestSchema = z
  .strictObject({ passphrase: z.string().min(1).max(1024), minutes: z.int().min(1).max(10) })
  .openapi('UnlockRequest');

export const incidentRequestSchema = z
  .strictObject({
    kind: z.string().max(64),
    key: nameSchema.optional(),
    class: classNameSchema.optional(),
    since: z.iso.datetime().optional(),
    note: z.string().max(2000).optional(),
  })
  .openapi('IncidentRequest');
export const stepRequestSchema = z.strictObject({ note: z.string().min(1).max(2000) }).openapi('StepRequest');
/** A name of a key, new or known; which names are fit is the workspace's to say. */
export const keyNameSchema = z.string().min(1).max(64);
const people = z.array(z.string().trim().min(1).max(200)).max(16).default([]);
const newKeySchema = z.discriminatedUnion('custody', [
  z.strictObject({ custody: z.literal('file'), passphrase: z.string().max(1024) }),
  z.strictObject({
    custody: z.literal('token'),
    uri: z
      .string()
      .max(512)
      .openapi({ description: 'RFC 7512, without PIN and module', example: 'pkcs11:token=Hollin%20Ridge' }),
    pin: z.string().max(256),
  }),
]);

export const actStepRequestSchema = z
  .strictObject({
    confirm: keyNameSchema.openapi({ description: 'the name that the act asks for: what follows was read' }),
    ...keyAccessSchema,
    signer: keyNameSchema
      .optional()
      .openapi({ description: 'who signs, where the act leaves a choice', example: 'trust-1' }),
    root: z
      .strictObject(keyAccessSchema)
      .default({})
      .openapi({ description: 'opens the root of the act, for this act alone' }),
    make: z
      .strictObject({ name: keyNameSchema, key: newKeySchema, people, backups: people })
      .optional()
      .openapi({ description: 'the key that the act makes; people and backups are for its ceremony record' }),
  })
  .openapi('ActStepRequest');
export const nameParamSchema = z.object({ name: nameSchema });
export const stepParamSchema = z.object({ name: nameSchema, step: nameSchema });
