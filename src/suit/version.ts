import type { CborItem, CborValue } from '../cbor/index.ts';
import { SuitError } from './errors.ts';
import { asArray, asInteger, asUint } from './read.ts';

/** A version as integers: release numbers, then perhaps a pre-release indicator and its numbers ([UM] 4.4.1). */
export type Version = readonly number[];

/** How a device's version must relate to the manifest's ([UM] Appendix A). */
export const COMPARISONS = ['>', '>=', '=', '<=', '<'] as const;
export type Comparison = (typeof COMPARISONS)[number];

/** Parameter 28 ([UM] section 4.4). */
export interface VersionMatch {
  readonly comparison: Comparison;
  readonly version: Version;
}

const INDICATORS: ReadonlyMap<string, number> = new Map([
  ['rc', -1],
  ['beta', -2],
  ['alpha', -3],
]);
const INDICATOR_NAMES = new Map([...INDICATORS].map(([name, code]) => [code, name]));
const NUMBER = /^(?:0|[1-9][0-9]{0,14})$/;
const FORM = /^(?<release>[0-9.]+)(?:-(?<kind>[a-z]+)(?:\.(?<rest>[0-9.]+))?)?(?:\+[0-9A-Za-z.-]+)?$/;

/**
 * The integers of a version text such as `1.4.0` or `2.0-rc.1`, build metadata left out as [UM] section 3.1
 * demands. `undefined` where the text cannot be represented faithfully: the manifest then carries none.
 */
export function parseVersion(text: string): Version | undefined {
  const groups = FORM.exec(text)?.groups;
  if (!groups) return undefined;
  const release = numbers(groups.release!);
  if (!release || groups.kind === undefined) return release;
  const indicator = INDICATORS.get(groups.kind);
  const rest = groups.rest === undefined ? [] : numbers(groups.rest);
  return indicator === undefined || !rest ? undefined : [...release, indicator, ...rest];
}

function numbers(dotted: string): number[] | undefined {
  const parts = dotted.split('.');
  return parts.every((part) => NUMBER.test(part)) ? parts.map(Number) : undefined;
}

/** A version in the dotted form it was parsed from: [1,2,3,-3,4] is `1.2.3-alpha.4`. */
export function formatVersion(version: Version): string {
  let text = '';
  for (const part of version) {
    if (part < 0) text += `-${INDICATOR_NAMES.get(part) ?? part}`;
    else text += text === '' ? part : `.${part}`;
  }
  return text;
}

/**
 * Whether a device's version satisfies a comparison: number by number until they differ or the manifest's version
 * is used up ([UM] section 4.4). The draft is silent on a device version that is shorter; here what is missing
 * counts as 0.
 */
export function versionMatches(match: VersionMatch, device: Version): boolean {
  const order = prefixOrder(device, match.version);
  switch (match.comparison) {
    case '>':
      return order > 0;
    case '>=':
      return order >= 0;
    case '=':
      return order === 0;
    case '<=':
      return order <= 0;
    default:
      return order < 0;
  }
}

function prefixOrder(device: Version, wanted: Version): number {
  const i = wanted.findIndex((part, at) => (device[at] ?? 0) !== part);
  return i < 0 ? 0 : (device[i] ?? 0) - wanted[i]!;
}

/** SUIT_Condition_Version_Comparison_Value: one or more integers, the first not negative. Throws `SuitError`. */
export function readVersion(item: CborItem): Version {
  const version = asArray(item, 'a version', 'version').map((part) =>
    asInteger(part, 'a part of a version', 'version'),
  );
  if (version.length === 0 || version[0]! < 0) {
    throw new SuitError('version', item.start, 'a version begins with a release number ([UM] section 4.4.1)');
  }
  return version;
}

/** SUIT_Parameter_Version_Match. Throws `SuitError`. */
export function readVersionMatch(item: CborItem): VersionMatch {
  const parts = asArray(item, 'a version comparison', 'version');
  const comparison = parts.length === 2 && COMPARISONS[asUint(parts[0]!, 'an operator', 'version') - 1];
  if (!comparison) {
    throw new SuitError(
      'version',
      item.start,
      'a version comparison is [operator 1 to 5, version] ([UM] section 4.4)',
    );
  }
  return { comparison, version: readVersion(parts[1]!) };
}

/** A version comparison as CBOR: what `readVersionMatch` reads. */
export function versionMatchValue({ comparison, version }: VersionMatch): CborValue {
  return [COMPARISONS.indexOf(comparison) + 1, version];
}
