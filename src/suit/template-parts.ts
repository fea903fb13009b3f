import type { ComponentIdentifier } from './components.ts';
import { command, type ManifestDescription, override, type SequenceDescription } from './description.ts';
import { SHA_256 } from './digest.ts';
import type { SectionName } from './manifest.ts';
import type { ParameterTypes } from './parameters.ts';
import type { ReleaseFacts, ReleaseImage } from './release-facts.ts';

/** Components, shared sequence and sequences of a release: what differs by the shape of a class. */
export type Template = (
  facts: ReleaseFacts,
  component: ComponentIdentifier,
) => Pick<ManifestDescription, 'components' | 'shared' | 'sequences'>;

/** Reporting policies of the draft's own examples ([M] Appendix B, table of policies). */
const REPORT_ALL = 15;
const REPORT_SUCCESS = 5;
const RECORD_FAILURE = 2;

const vendorMatches = command(1, REPORT_ALL);
const classMatches = command(2, REPORT_ALL);
const deviceMatches = command(24, REPORT_ALL);
export const imageMatches = command(3, REPORT_ALL);
const slotMatches = command(5, REPORT_SUCCESS);
export const fetch = command(21, RECORD_FAILURE);
export const copy = command(22, RECORD_FAILURE);
export const invoke = command(23, RECORD_FAILURE);

/** A branch: condition first, the rest after it, so that a failed branch leaves nothing that matters. */
export function inSlot(slot: number, more: Partial<ParameterTypes> | undefined): SequenceDescription {
  const chosen = [override({ 5: slot }), slotMatches];
  return more ? [...chosen, override(more)] : chosen;
}

export function identity(facts: ReleaseFacts): Partial<ParameterTypes> {
  const ids = { 1: facts.vendorId, 2: facts.classId };
  return facts.deviceId ? { ...ids, 24: facts.deviceId } : ids;
}

export function compatibility(facts: ReleaseFacts): SequenceDescription {
  return facts.deviceId ? [vendorMatches, classMatches, deviceMatches] : [vendorMatches, classMatches];
}

export function content(image: Pick<ReleaseImage, 'digest' | 'sizeBytes'>): Partial<ParameterTypes> {
  return { 3: { algorithm: SHA_256, bytes: image.digest }, 14: image.sizeBytes };
}

/** Sections that have commands: an empty sequence is none ([M] Appendix A). */
export function sections(
  all: Partial<Record<SectionName, SequenceDescription>>,
): ReadonlyMap<SectionName, SequenceDescription> {
  const entries = Object.entries(all) as [SectionName, SequenceDescription][];
  return new Map(entries.filter(([, sequence]) => sequence.length > 0));
}
