import { formatUuid } from '../../suit/index.ts';
import { type DeviceClass, PROFILES, type Workspace } from '../../workspace/index.ts';
import type { FigureBook } from '../figures/book.ts';
import { choicesOf } from './choices.ts';
import { type VerifyTime, verifyTime } from './effort.ts';
import { findingsOf } from './findings.ts';
import { type Holdings, holdingsOf } from './holdings.ts';
import { leakConsequences, unitsOf } from './leaks.ts';
import { unitFiguresOf } from './mcu.ts';
import { TRUST_PLAN_FORMAT, type TrustPlan } from './schema.ts';
import { type AddedBytes, weighProfile } from './sizes.ts';
import { threatAnswers } from './threats.ts';

/** Taken where a class file does not say. */
const ASSUMED = { lifeYears: 10, releasesPerYear: 4, imageBytes: 100 * 1024, units: 1000 } as const;
const TENTHS = 10;

/**
 * The trust plan of a class: every choice with what follows from it here, all profiles side by side, what a leak of each key
 * means, what conflicts or lapses, and the threats of RFC 9124. Computed from the class file, the keys and certificates
 * on file, and the figures. Opens no key and changes nothing. Throws `WorkspaceError`.
 */
export async function trustPlan(
  workspace: Workspace,
  deviceClass: DeviceClass,
  figures: FigureBook,
): Promise<TrustPlan> {
  const holdings = holdingsOf(workspace, deviceClass);
  const { plan, classId, name, model, profile } = deviceClass;
  const unit = unitFiguresOf(deviceClass, figures.unit(name));
  const imageBytes = plan.imageSize ?? ASSUMED.imageBytes;
  const units = unitsOf(deviceClass, holdings) ?? ASSUMED.units;
  const request = { workspace, deviceClass, holdings, units, imageBytes };
  const weighed = await Promise.all(PROFILES.map((each) => weighProfile(request, each)));
  const own = weighed.find((each) => each.profile.name === profile.name)!;
  const lifeYears = plan.lifeYears ?? ASSUMED.lifeYears;
  const releasesPerYear = plan.releasesPerYear ?? ASSUMED.releasesPerYear;
  const now = workspace.now();
  const findings = findingsOf({ workspace, deviceClass, holdings, own, now, lifeYears, releasesPerYear });
  const timed = weighed.map((added) => ({ added, time: verifyTime(added, imageBytes, unit) }));
  return {
    format: TRUST_PLAN_FORMAT,
    planned: now.toISOString(),
    trial: workspace.kind === 'trial',
    vendor_domain: workspace.vendorDomain,
    class: name,
    model,
    class_id: formatUuid(classId),
    assumptions: assumptionsOf(deviceClass, holdings),
    choices: choicesOf(deviceClass, holdings, own).map((each) => ({
      ...each,
      consequences: [...each.consequences],
    })),
    alternatives: timed.map(({ added, time }) => alternative(added, time, added === own)),
    leaks: leakConsequences(deviceClass, holdings).map((leak) => ({
      ...leak,
      names: [...leak.names],
      reaches: leak.reaches ?? null,
    })),
    findings: findings.map((finding) => ({ ...finding, rule: finding.rule ?? null })),
    threats: threatAnswers(deviceClass, holdings).map((each) => ({
      ...each,
      requirements: [...each.requirements],
    })),
    figures: figuresUsed(timed.map(({ time }) => time)),
  };
}

function alternative(
  { profile, weight, encrypted, verifications, basis }: AddedBytes,
  time: VerifyTime,
  chosen: boolean,
) {
  return {
    profile: profile.name,
    scheme: profile.scheme,
    authentication: profile.authentication.name,
    chosen,
    added_bytes: weight.added,
    seal_bytes: weight.seals,
    manifest_bytes: weight.manifest,
    kept_bytes: weight.kept,
    room_bytes: weight.room,
    encrypted_bytes: encrypted.weight.added,
    recipients: encrypted.recipients,
    recipients_kind: encrypted.kind,
    content: profile.content.name,
    verifications,
    authentication_ms: tenths(time.authentication),
    image_ms: tenths(time.image),
    basis,
  };
}

function tenths(value: number): number {
  return Math.round(value * TENTHS) / TENTHS;
}

function assumptionsOf({ plan }: DeviceClass, { unitsOnRecord }: Holdings): TrustPlan['assumptions'] {
  const row = (what: string, said: string | number | undefined, assumed: string) => ({
    what,
    value: said === undefined ? assumed : String(said),
    said: said !== undefined,
  });
  const consumer = plan.consumer === undefined ? undefined : plan.consumer ? 'yes' : 'no';
  return [
    row(
      'units',
      plan.units ?? (unitsOnRecord > 0 ? `${unitsOnRecord} on record` : undefined),
      String(ASSUMED.units),
    ),
    row('in use for, years', plan.lifeYears, String(ASSUMED.lifeYears)),
    row('releases a year', plan.releasesPerYear, String(ASSUMED.releasesPerYear)),
    row('image, bytes', plan.imageSize, String(ASSUMED.imageBytes)),
    row('sold to consumers', consumer, 'not said'),
    row('security updates until', plan.supportUntil, 'not said'),
    row('core', plan.mcu, 'not said: the slowest build on file'),
  ];
}

function figuresUsed(times: readonly VerifyTime[]): TrustPlan['figures'] {
  const used = new Map(
    times.flatMap(({ figures }) => figures.map(({ name, figure }) => [name, figure] as const)),
  );
  return [...used].map(([name, figure]) => ({ name, ...figure }));
}
