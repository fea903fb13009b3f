import { equal, fromHex } from '../bytes/index.ts';
import type { KeyDescription } from '../keys/index.ts';
import { formatUuid } from '../suit/index.ts';
import {
  POLICY_ALGORITHMS,
  type PolicySigner,
  type Standing,
  standingOf,
  UNIT_LIMITS,
} from '../unit/index.ts';
import {
  type DeviceClass,
  listKeys,
  readCertificates,
  readKey,
  retirements,
  rootStandings,
  type Workspace,
} from '../workspace/index.ts';
import {
  type Anchor,
  type Certificate,
  isTrial,
  judgeSigner,
  OID,
  purposeOf,
  sameName,
  validatePath,
} from '../x509/index.ts';
import { type SealCode, SealError } from './error.ts';

/** A signer that may seal for a class now. */
export interface ChosenSigner {
  readonly description: KeyDescription;
  /** Its certificate. */
  readonly leaf: Certificate;
  /** What goes into the payload: the certificate and those above it, without the root. */
  readonly chain: readonly Certificate[];
  /** What a unit's policy compares of it. */
  readonly signer: PolicySigner;
}

interface Unfit {
  readonly code: SealCode;
  readonly says: string;
  readonly hint: string;
}

const DAY = 86_400_000;

/**
 * The signer for a class: the one named, or the only one that covers the class and may seal at `now`. Throws
 * `SealError` with what stands against each candidate. Dates are judged here, whether or not units have a clock.
 */
export function chooseSigner(
  workspace: Workspace,
  deviceClass: DeviceClass,
  name: string | undefined,
): ChosenSigner {
  if (name !== undefined) {
    const description = readKey(workspace, name);
    const judged = judge(workspace, deviceClass, description);
    if ('leaf' in judged) return judged;
    throw refusal(judged);
  }
  const judged = releaseSigners(workspace).map((description) => ({
    name: description.name,
    result: judge(workspace, deviceClass, description),
  }));
  const fit = judged.flatMap(({ result }) => ('leaf' in result ? result : []));
  if (fit.length === 1) return fit[0]!;
  if (fit.length > 1) throw several(deviceClass, fit);
  const near = judged.flatMap(({ result }) =>
    'leaf' in result || result.code === 'signer-scope' ? [] : result,
  );
  throw near.length === 1
    ? refusal(near[0]!)
    : none(
        deviceClass,
        judged.map(({ result }) => result as Unfit),
      );
}

/** Most signers of one payload: as many as a unit with a policy looks at. */
export const MOST_SIGNERS = UNIT_LIMITS.signatures.value;

/** Who signs, and how far that comes by the policy of the class. */
export interface ChosenSigners {
  readonly signers: readonly ChosenSigner[];
  /** Undefined where the class asks for one signature. */
  readonly standing: Standing | undefined;
}

/**
 * The signers for a class by its policy: those named, or all that may seal where that is just as many as are asked
 * for. Throws `SealError`, also where they are too few and the payload is not meant to be signed by more later.
 */
export function chooseSigners(
  workspace: Workspace,
  deviceClass: DeviceClass,
  names: readonly string[],
  unfinished: boolean,
): ChosenSigners {
  const { policy } = deviceClass;
  if (names.length > (policy ? MOST_SIGNERS : 1) || new Set(names).size < names.length) {
    const most = policy ? `up to ${MOST_SIGNERS} signers, each once` : 'one signature';
    throw new SealError(
      'signers-wrong',
      `units of class ${deviceClass.name} take ${most}; nothing was signed`,
      policy
        ? 'name each signer once'
        : `to have several sign, say which under "authentication" in classes/${deviceClass.name}.yaml`,
    );
  }
  if (!policy || (names.length === 0 && policy.needed === 1)) {
    const only = chooseSigner(workspace, deviceClass, names[0]);
    return withStanding(deviceClass, [only], unfinished);
  }
  const signers =
    names.length > 0
      ? names.map((name) => chooseSigner(workspace, deviceClass, name))
      : fitSigners(workspace, deviceClass);
  if (names.length === 0 && signers.length > policy.needed) throw several(deviceClass, signers);
  return withStanding(deviceClass, signers, unfinished);
}

function withStanding(
  { name, policy }: DeviceClass,
  signers: readonly ChosenSigner[],
  unfinished: boolean,
): ChosenSigners {
  if (!policy) return { signers, standing: undefined };
  const standing = standingOf(
    policy,
    signers.map(({ signer }) => signer),
  );
  if (standing.satisfied || unfinished) return { signers, standing };
  const who = signers.map(({ description }) => description.name).join(' and ') || 'nobody';
  throw new SealError(
    'signers-too-few',
    `units of class ${name} ask for ${policy.text}; ${who} would meet ${standing.met} of the ${policy.needed}, and open is ${openText(standing)}; nothing was signed`,
    'name the missing signer too (--signer NAME, repeated); or seal with --unfinished and add its signature later: fieldseal signature add',
  );
}

/** What signers leave open, for people. */
export function openText({ open }: Standing): string {
  return open.map(({ text }) => text).join('; ');
}

function fitSigners(workspace: Workspace, deviceClass: DeviceClass): ChosenSigner[] {
  const judged = releaseSigners(workspace).map((description) => judge(workspace, deviceClass, description));
  const fit = judged.flatMap((result) => ('leaf' in result ? result : []));
  if (fit.length > 0) return fit;
  throw none(deviceClass, judged as Unfit[]);
}

/** Roots of the workspace that stand above releases. */
export function anchorsOf(workspace: Workspace): (Anchor & { readonly label: string })[] {
  const standing = rootStandings(workspace).filter(({ rank, retired }) => rank === 'release' && !retired);
  return standing.flatMap(({ name }) =>
    readCertificates(workspace, name)
      .slice(0, 1)
      .map(({ subject, spki }) => ({ name: subject.der, spki, label: name })),
  );
}

function judge(
  workspace: Workspace,
  deviceClass: DeviceClass,
  description: KeyDescription,
): ChosenSigner | Unfit {
  const certificates = readCertificates(workspace, description.name);
  const leaf = certificates[0];
  if (!leaf) return uncertified(description);
  const finding =
    retiredFinding(workspace, description) ??
    scopeFinding(workspace, deviceClass, description, leaf) ??
    algorithmFinding(deviceClass, description) ??
    trialFinding(workspace, description, leaf) ??
    dateFinding(deviceClass, description, leaf, workspace.now()) ??
    rightsFinding(workspace, deviceClass, description, leaf);
  if (finding) return finding;
  const anchor = anchorOf(workspace, description, certificates);
  if (typeof anchor !== 'string') return anchor;
  const signer = {
    fingerprint: description.fingerprint,
    role: leaf.role,
    algorithm: algorithmId(description)!,
    anchor,
    scopes: leaf.subjectAltUris,
  };
  return {
    description,
    leaf,
    chain: certificates.filter((one) => !sameName(one.subject, one.issuer)),
    signer,
  };
}

function algorithmId({ algorithm }: KeyDescription): number | undefined {
  return (POLICY_ALGORITHMS as Readonly<Record<string, number>>)[algorithm];
}

function uncertified({ name, purpose }: KeyDescription): Unfit {
  if (purpose !== 'signer') {
    return unfit('signer-unfit', `${name} is a ${purpose} key and signs no payloads`, 'name a signer');
  }
  const says = `signer ${name} has no certificate yet`;
  return unfit(
    'signer-uncertified',
    says,
    `bring its certificate back: fieldseal signer accept ${name} FILE`,
  );
}

/** Signers of releases that are not retired: those that are worth telling what stands against them. */
function releaseSigners(workspace: Workspace): KeyDescription[] {
  const retired = retirements(workspace);
  return listKeys(workspace, 'signer').filter(({ name }) => {
    const [leaf] = readCertificates(workspace, name);
    return !retired.has(name) && (leaf === undefined || (purposeOf(leaf) ?? 'release') === 'release');
  });
}

function retiredFinding(workspace: Workspace, { name }: KeyDescription): Unfit | undefined {
  const retired = retirements(workspace).get(name);
  if (!retired) return undefined;
  const says = `signer ${name} was retired on ${retired.time} (${retired.reason}, ledger entry ${retired.entry})`;
  return unfit('signer-retired', says, 'name another signer, or make a new one: fieldseal signer create');
}

function scopeFinding(
  workspace: Workspace,
  deviceClass: DeviceClass,
  { name }: KeyDescription,
  leaf: Certificate,
): Unfit | undefined {
  const verdict = judgeSigner(leaf, {
    scopes: scopesOf(workspace, deviceClass),
    minimumGeneration: 0,
    denied: [],
  });
  if (verdict.ok || verdict.code !== 'signer-scope') return undefined;
  return unfit(
    'signer-scope',
    `signer ${name} may not sign for class ${deviceClass.name}: its certificate covers ${leaf.subjectAltUris.join(', ') || 'nothing'}, the class is ${scopesOf(workspace, deviceClass).slice(0, -1).join(', ')}`,
    `name a signer that covers the class, or make one: fieldseal signer create NAME --class ${deviceClass.name}`,
  );
}

/** Scopes that cover a class: its identifiers, and the vendor's, as units judge them. */
function scopesOf(workspace: Workspace, { classIds }: DeviceClass): string[] {
  return [...classIds, workspace.vendorId].map((id) => `urn:uuid:${formatUuid(id)}`);
}

function algorithmFinding(
  { name: className, profile, policy }: DeviceClass,
  description: KeyDescription,
): Unfit | undefined {
  const ids = policy?.algorithms ?? [profile.authentication.id];
  const algorithm = algorithmId(description);
  if (algorithm !== undefined && ids.includes(algorithm)) return undefined;
  const wanted = Object.entries(POLICY_ALGORITHMS)
    .filter(([, id]) => ids.includes(id))
    .map(([name]) => name)
    .join(' or ');
  return unfit(
    'signer-algorithm',
    `signer ${description.name} signs with ${description.algorithm}, units of class ${className} take only ${wanted} (${profile.name})`,
    `name a signer for ${wanted}, or make one with --algorithm`,
  );
}

function trialFinding(
  workspace: Workspace,
  description: KeyDescription,
  leaf: Certificate,
): Unfit | undefined {
  if (workspace.kind === 'trial' || !(description.trial || isTrial(leaf))) return undefined;
  return unfit(
    'signer-trial',
    `signer ${description.name} was made for trial; a production workspace does not seal with it`,
    'make a signer in this workspace',
  );
}

function dateFinding(
  { certificatePolicy, name: className }: DeviceClass,
  { name }: KeyDescription,
  { notBefore, notAfter }: Certificate,
  now: Date,
): Unfit | undefined {
  const dates = `valid from ${notBefore.toISOString()} to ${notAfter?.toISOString() ?? 'no set end'}, now ${now.toISOString()}`;
  const renew =
    'make a new signer and keep the old chain on record; if the dates look right, check the clock of this machine';
  if (now < notBefore)
    return unfit('signer-dates', `the certificate of signer ${name} is not valid yet: ${dates}`, renew);
  if (notAfter && now > notAfter)
    return unfit('signer-dates', `the certificate of signer ${name} has expired: ${dates}`, renew);
  const { sealWithinDays } = certificatePolicy;
  if (sealWithinDays === undefined || now.getTime() - notBefore.getTime() <= sealWithinDays * DAY)
    return undefined;
  const says = `the certificate of signer ${name} may seal for ${sealWithinDays} days after its start by the policy of class ${className}, and that time is over: ${dates}`;
  return unfit('signer-dates', says, renew);
}

function rightsFinding(
  workspace: Workspace,
  deviceClass: DeviceClass,
  { name, spki }: KeyDescription,
  leaf: Certificate,
): Unfit | undefined {
  if (!spki || !equal(leaf.spki, fromHex(spki))) {
    const says = `the certificate filed for signer ${name} belongs to another key`;
    return unfit('signer-unfit', says, `restore certificates/${name}.pem and keys/${name}.json from git`);
  }
  const { minimumSignerGeneration: minimumGeneration } = deviceClass.certificatePolicy;
  const verdict = judgeSigner(leaf, {
    scopes: scopesOf(workspace, deviceClass),
    minimumGeneration,
    denied: [],
  });
  if (verdict.ok) return undefined;
  return unfit(
    'signer-unfit',
    `signer ${name} cannot seal for class ${deviceClass.name}: ${verdict.detail}`,
    'make a new signer',
  );
}

/** Name of the root at which the chain ends, or what stands against it. */
function anchorOf(
  workspace: Workspace,
  { name }: KeyDescription,
  chain: readonly Certificate[],
): string | Unfit {
  const anchors = anchorsOf(workspace);
  const verdict = validatePath({ chain, anchors, at: workspace.now(), purpose: OID.codeSigning });
  if (verdict.ok) return verdict.anchor.label;
  const which = `certificate ${verdict.certificate + 1} of ${chain.length}`;
  if (verdict.code === 'expired' || verdict.code === 'not-yet-valid') {
    return unfit(
      'signer-dates',
      `the chain of signer ${name} is out of its dates, ${which}: ${verdict.detail}`,
      'have the authority above it renewed',
    );
  }
  return unfit(
    'signer-chain',
    `the chain of signer ${name} does not lead to a root of this workspace, so no unit would take what it signs (${which}: ${verdict.detail})`,
    'restore the certificates from git, or make a new signer',
  );
}

function unfit(code: SealCode, says: string, hint: string): Unfit {
  return { code, says, hint };
}

function refusal({ code, says, hint }: Unfit): SealError {
  return new SealError(code, `${says}; nothing was sealed`, hint);
}

function several({ name }: DeviceClass, fit: readonly ChosenSigner[]): SealError {
  const names = fit.map(({ description }) => description.name);
  return new SealError(
    'signer-several',
    `${names.length} signers cover class ${name}: ${names.join(', ')}`,
    'name one with --signer NAME',
  );
}

function none({ name }: DeviceClass, findings: readonly Unfit[]): SealError {
  const says = findings.length === 0 ? 'there is no signer' : findings.map((one) => one.says).join('; ');
  return new SealError(
    'signer-none',
    `no signer can seal for class ${name}: ${says}`,
    `make one: fieldseal signer create NAME --class ${name}`,
  );
}
