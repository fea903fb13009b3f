/** A rehearsal as it is written down, for programs and for the evidence of a release. */
import { toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import type { Refusal } from '../../unit/index.ts';
import { stepOfRefusal } from './forgery.ts';
import { PLACES } from './places.ts';
import type { Rehearsal, RowResult } from './rehearse.ts';
import { REHEARSAL_FORMAT, type RehearsalDocument } from './schema.ts';
import type { Subject } from './subject.ts';
import { THREATS, type Threat, type ThreatName } from './threats.ts';

/** The document of a rehearsal that came to its end. */
export function rehearsalJson(subject: Subject, rehearsal: Rehearsal): RehearsalDocument {
  const { record, offer, now } = subject;
  const carried = rehearsal.kind === 'carried out' ? rehearsal : undefined;
  const refused = rehearsal.kind === 'not taken' ? rehearsal : undefined;
  const rows = carried?.rows ?? [];
  const { facts } = rehearsal.genuine.verdict;
  return {
    format: REHEARSAL_FORMAT,
    outcome: outcomeOf(rehearsal),
    rehearsed: now.toISOString(),
    envelope: fileFacts(offer.envelope),
    image: offer.image ? fileFacts(offer.image) : null,
    manifest_digest: facts.manifestDigest ? toHex(facts.manifestDigest) : null,
    sequence_number: facts.sequenceNumber === undefined ? null : String(facts.sequenceNumber),
    unit: {
      class: record.class_name,
      serial: record.serial,
      trial: record.trial,
      scheme: record.scheme,
      profile: record.profile,
      judged_until: rehearsal.genuine.until,
      swapped: [...(carried?.lab.standIn.swapped ?? [])],
    },
    refusal: refused?.refusal ? refusalFacts(refused.refusal) : null,
    why: refused?.why ?? null,
    counts: { rows: rows.length, ...countsOf(rows) },
    threats: THREATS.map((each: Threat) => ({
      name: each.name,
      section: each.section,
      about: each.about,
      outside: each.outside ?? null,
      ...countsOf(rows.filter(({ row: forgery }) => forgery.threat === (each.name as ThreatName))),
    })),
    rows: rows.map(rowFacts),
  };
}

/** What came of a rehearsal as a whole. */
export function outcomeOf(rehearsal: Rehearsal): RehearsalDocument['outcome'] {
  if (rehearsal.kind === 'not taken') return 'not taken';
  return rehearsal.rows.some(({ outcome }) => outcome === 'failed') ? 'failed' : 'passed';
}

/** How many rows passed, failed, and did not apply. */
export function countsOf(rows: readonly RowResult[]): { passed: number; failed: number; exposed: number } {
  const having = (wanted: RowResult['outcome']) => rows.filter(({ outcome }) => outcome === wanted).length;
  return { passed: having('passed'), failed: having('failed'), exposed: having('exposed') };
}

function fileFacts(bytes: Uint8Array): { size_bytes: number; sha256: string } {
  return { size_bytes: bytes.length, sha256: toHex(sha256(bytes)) };
}

function refusalFacts({ code, step, says, meaning, next, source }: Refusal) {
  return { code, step, says, meaning, next, source };
}

function rowFacts({ row: forgery, outcome, against, heard, because }: RowResult) {
  const { name, threat: embodied, built, where = [], refusal: awaited } = forgery;
  return {
    name,
    threat: embodied,
    built,
    where: where.map((place) => PLACES[place].text),
    against,
    step: stepOfRefusal(awaited),
    refusal: awaited,
    outcome,
    heard: heard ?? null,
    because: because ?? null,
  };
}
