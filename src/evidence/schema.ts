/** The shape of the evidence for a release, `fieldseal.evidence/1`. */
import * as z from 'zod';

export const EVIDENCE_FORMAT = 'fieldseal.evidence/1';

const count = z.int().min(0);
const sha256 = z.string().regex(/^[0-9a-f]{64}$/);
const cover = z.enum(['shown', 'in part', 'not shown', 'by the product']);

const rehearsal = z.strictObject({
  outcome: z.enum(['passed', 'failed', 'not taken']),
  rehearsed: z.string(),
  unit: z.strictObject({ class: z.string(), serial: z.string(), swapped: z.array(z.string()) }),
  counts: z.strictObject({ rows: count, passed: count, failed: count, exposed: count }),
  on_ledger: z.boolean().describe('Whether an entry of the ledger says the same'),
  threats: z.array(
    z.strictObject({
      name: z.string(),
      passed: count,
      failed: count,
      exposed: count,
      outside: z.string().nullable(),
    }),
  ),
  failures: z.array(z.strictObject({ name: z.string(), because: z.string() })),
  exposures: z.array(z.strictObject({ name: z.string(), because: z.string() })),
  file_sha256: sha256,
});

const acceptance = z.strictObject({
  outcome: z.enum(['everyone accepts', 'some are left behind', 'not all could be judged']),
  rehearsed: z.string(),
  counts: z.strictObject({
    units: count,
    accepted: count,
    not_judged_to_the_end: count,
    refused: count,
    unread: count,
    groups: count,
  }),
  left_behind: z.array(
    z.strictObject({ class: z.string(), units: count, refusal: z.string(), because: z.string().nullable() }),
  ),
  remedies: z.array(z.strictObject({ says: z.string(), units: count, changes: z.array(z.string()) })),
  inventory_sha256: sha256,
  on_ledger: z.boolean().describe('Whether an entry of the ledger says the same'),
  file_sha256: sha256,
});

/** The document of evidence. */
export const evidenceSchema = z.strictObject({
  format: z.literal(EVIDENCE_FORMAT),
  trial: z.boolean(),
  as_of: z.string().describe('Time of the last entry of the ledger: the evidence is that old'),
  vendor_domain: z.string(),
  release: z.strictObject({
    class: z.string(),
    model: z.string(),
    class_id: z.string(),
    vendor_id: z.string(),
    device_id: z.string().nullable(),
    version: z.string(),
    sequence_number: z.string(),
    security_version: count,
    scheme: z.string(),
    profile: z.string(),
    sealed: z.string(),
    manifest_digest: sha256,
    reference_uri: z.string(),
    detached: z.boolean(),
    description: z.string().nullable(),
    encryption: z.string().nullable(),
    envelope: z.strictObject({
      file: z.string(),
      size_bytes: count,
      sha256,
      compared: z.boolean().describe('Whether the envelope itself was given and is the one on record'),
    }),
    record: z.string(),
    open: z.array(z.string()).describe('Signatures that units still ask for'),
  }),
  images: z.array(
    z.strictObject({
      slot: z.string(),
      digest: sha256,
      size_bytes: count,
      address: count,
      room_bytes: count,
      source: z.string(),
      source_sha256: sha256,
      ciphertext_digest: sha256.nullable(),
      delta: z.strictObject({ digest: sha256, size_bytes: count, precursor_digest: sha256 }).nullable(),
      gaps: count,
      left_out: count,
    }),
  ),
  components: z.array(
    z.strictObject({ name: z.string(), digest: sha256, size_bytes: count, file: z.string() }),
  ),
  dependencies: z
    .array(
      z.strictObject({
        name: z.string(),
        manifest_digest: sha256,
        sequence_number: z.string(),
        root: z.string(),
        signer: z.string(),
      }),
    )
    .describe('Envelopes that other authors sealed'),
  seals: z.array(
    z.strictObject({
      name: z.string(),
      role: z.string().nullable(),
      algorithm: z.string(),
      custody: z.string(),
      fingerprint: z.string(),
      added: z.string().nullable().describe('When it was added to an envelope sealed before'),
      chain: z.array(
        z.strictObject({
          subject: z.string(),
          serial: z.string(),
          not_before: z.string(),
          not_after: z.string().nullable(),
          sha256,
        }),
      ),
      chain_holds: z
        .boolean()
        .nullable()
        .describe(
          'Whether the certificate on file is the recorded one, up to a root here; null for MAC keys',
        ),
      anchor: z.string().nullable(),
      ceremony: z.string().nullable(),
      people: z.array(z.string()),
    }),
  ),
  approval: z
    .strictObject({
      needed: count,
      counted: count,
      requested_by: z.string(),
      requested: z.string(),
      request: z.string(),
      request_sha256: sha256,
      holds: z.boolean().describe('Whether request and approvals verify now as they did when it was sealed'),
      approvals: z.array(
        z.strictObject({
          person: z.string().nullable(),
          approver: z.string(),
          fingerprint: z.string().nullable(),
          approved: z.string().nullable(),
          counts: z.boolean(),
          fault: z.string().nullable(),
        }),
      ),
    })
    .nullable(),
  approvals_asked: count.describe('How many the class asks for now'),
  ledger: z.strictObject({
    intact: z.boolean(),
    entries: count,
    head_sha256: sha256.nullable(),
    entry: count.describe('The entry of this release'),
    entry_sha256: sha256,
    findings: z.array(z.string()),
  }),
  rehearsals: z.array(rehearsal),
  rehearsals_on_ledger: count.describe('Entries about rehearsals of this release'),
  acceptance: z.array(acceptance),
  broadcast: z
    .array(
      z.strictObject({
        entry: count,
        at: z.string(),
        broadcast: count,
        step: z.string(),
        wave: count.nullable(),
        who: z.string(),
        says: z.string(),
      }),
    )
    .describe('What the ledger says of its broadcasts: waves opened and passed, stops and their reasons'),
  plan: z
    .strictObject({
      entry: count,
      decided_by: z.string(),
      planned: z.string(),
      files: z.array(sha256),
      conflicts: z.array(z.string()),
    })
    .nullable(),
  production: z.strictObject({
    units: count,
    lock_proved: count,
    debug_closed: count,
    batches: count,
  }),
  support_until: z.string().nullable(),
  cautions: z.array(z.string()),
  requirements: z.array(
    z.strictObject({ section: z.string(), name: z.string(), asks: z.string(), cover, evidence: z.string() }),
  ),
  rules: z.array(
    z.strictObject({
      rule: z.string(),
      where: z.string(),
      asks: z.string(),
      status: z.enum(['secondary copies', 'partly from memory', 'from memory']),
      cover,
      evidence: z.string(),
    }),
  ),
});

export type Evidence = z.infer<typeof evidenceSchema>;
export type Cover = z.infer<typeof cover>;
export type RehearsalEvidence = z.infer<typeof rehearsal>;
export type AcceptanceEvidence = z.infer<typeof acceptance>;
