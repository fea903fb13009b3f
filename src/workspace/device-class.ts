import { checkMemoryMap, type MemoryMap } from '../image/index.ts';
import { formatUuid, classId as suitClassId, vendorId } from '../suit/index.ts';
import {
  type AttestationRules,
  type AuthenticationPolicy,
  attestationProblems,
  FlashLayoutError,
  flashLayout,
  type ResolvedPolicy,
  resolvePolicy,
  type Scheme,
  type SignerRight,
} from '../unit/index.ts';
import type { Json, JsonObject } from './canonical.ts';
import { invalidFile, type Mistake, WorkspaceError } from './errors.ts';
import { requireClassName } from './names.ts';
import { defaultProfile, findProfile, type Profile } from './profiles.ts';
import type { ClassFile } from './schema.ts';
import type { Workspace } from './workspace.ts';

/** What is encrypted: nothing, the image when it is sealed, the message when it is sent, or both. */
export type Confidentiality = ClassFile['confidentiality'];
/** Each unit by its own key, or each cohort, or the whole class, by a key that its units share. */
export type Recipients = NonNullable<ClassFile['recipients']>;

/** Whether units of a class hold a key that content keys are wrapped under. */
export function sharesContentKeys({ confidentiality, recipients }: DeviceClass): boolean {
  return confidentiality !== 'none' && recipients !== 'units';
}

/** What the trust plan reckons with; whatever is undefined was not said. */
export interface PlanIntent {
  readonly consumer: boolean | undefined;
  readonly units: number | undefined;
  readonly lifeYears: number | undefined;
  readonly releasesPerYear: number | undefined;
  /** Bytes. */
  readonly imageSize: number | undefined;
  /** A date, such as 2034-06-30. */
  readonly supportUntil: string | undefined;
  readonly mcu: string | undefined;
}

/** Another maker of components of a class. */
export interface ClassAuthor {
  /** Under which its root was taken in. */
  readonly name: string;
  readonly components: readonly string[];
  readonly vendorId: Uint8Array;
  readonly classIds: readonly Uint8Array[];
  readonly minimumSignerGeneration: number;
}

/** A device class: what one kind of unit is, and how its payloads are made. */
export interface DeviceClass {
  readonly name: string;
  /** Absolute path of its file. */
  readonly file: string;
  readonly model: string;
  readonly hardwareRevision: string | undefined;
  readonly scheme: Scheme;
  readonly profile: Profile;
  /** Whether units have a trusted clock. */
  readonly clock: boolean;
  /** How many people, the one who asks not among them, must approve a release before it is sealed. */
  readonly approvals: number;
  /** Which signatures units ask for; undefined: one of the profile's algorithm. */
  readonly authentication: AuthenticationPolicy | undefined;
  /** The same with everything filled in that the class decides. */
  readonly policy: ResolvedPolicy | undefined;
  /** What each signer may have done; undefined: everything. */
  readonly rights: readonly SignerRight[] | undefined;
  /** What may be measured on units, and how they check themselves; undefined: all code, and no check. */
  readonly attestation: AttestationRules | undefined;
  readonly memory: MemoryMap;
  /** Other makers whose components units hold. */
  readonly authors: readonly ClassAuthor[];
  /** What units of others call it, where the firmware is one of their components. */
  readonly partOf: { readonly component: string; readonly started: boolean } | undefined;
  readonly confidentiality: Confidentiality;
  /** Whom content keys are sent to. */
  readonly recipients: Recipients;
  readonly certificatePolicy: {
    /** Days after its start during which a signer certificate may seal; undefined: until its end. */
    readonly sealWithinDays: number | undefined;
    readonly minimumSignerGeneration: number;
  };
  /** Largest step of the sequence number without an explicit yes. */
  readonly jumpLimit: bigint;
  /** Names of the links over which units are reached. */
  readonly links: readonly string[];
  readonly trialAttempts: number;
  readonly plan: PlanIntent;
  readonly cautions: readonly string[];
  /** The identifier that payloads name, 16 bytes: of model and revision where a revision is given, else of the model. */
  readonly classId: Uint8Array;
  /** Every identifier units of this class answer to, the model's first (SUIT manifest 8.4.8.2 allows several). */
  readonly classIds: readonly Uint8Array[];
}

/** Path of a class's file. */
export function classPath(workspace: Workspace, name: string): string {
  return workspace.path('classes', `${requireClassName(name)}.yaml`);
}

/** Names of all classes, sorted. */
export function listClasses(workspace: Workspace): string[] {
  return workspace.files
    .list(workspace.path('classes'))
    .filter((name) => name.endsWith('.yaml'))
    .map((name) => name.slice(0, -'.yaml'.length));
}

/**
 * Reads a class file. Throws `WorkspaceError` not-found, file-invalid (with line, field, what was expected and an
 * example for each mistake) or not-yet, where it asks for something this version does not do.
 */
export async function readClass(workspace: Workspace, name: string): Promise<DeviceClass> {
  const file = classPath(workspace, name);
  if (!workspace.files.exists(file)) throw noSuchClass(workspace, name);
  return classFromText(workspace, name, file, workspace.files.readText(file));
}

/** A class from the text of its file; `readClass` says what is thrown. */
export async function classFromText(
  workspace: Workspace,
  name: string,
  file: string,
  text: string,
): Promise<DeviceClass> {
  const [{ readDocument, mistakeAt }, { deviceClassSchema }] = await Promise.all([
    import('./document.ts'),
    import('./schema.ts'),
  ]);
  const shown = workspace.show(file);
  const facts = readDocument(text, shown, deviceClassSchema);
  const mistakes = [
    ...profileMistakes(facts),
    ...recipientMistakes(facts),
    ...policyMistakes(facts),
    ...memoryMistakes(withoutUndefined(facts.memory)),
    ...authorMistakes(facts),
    ...attestationMistakes(facts),
  ];
  if (mistakes.length > 0) {
    throw invalidFile(
      shown,
      mistakes.map(({ path, ...rest }) => mistakeAt(text, path, rest)),
    );
  }
  return makeClass(workspace, name, file, facts);
}

type Unplaced = Pick<Mistake, 'expected' | 'says' | 'example'> & { path: (string | number)[] };

function* profileMistakes(facts: ClassFile): Generator<Unplaced> {
  const profile = facts.profile && findProfile(facts.profile);
  if (!profile || profile.scheme === facts.scheme) return;
  yield {
    path: ['profile'],
    expected: `a profile of the ${facts.scheme} scheme`,
    says: `${profile.name} is of the ${profile.scheme} scheme`,
    example: `profile: ${defaultProfile(facts.scheme).name}`,
  };
}

/** Only a profile with a key agreement can send to the public key of a unit (draft-ietf-suit-mti section 3). */
function* recipientMistakes(facts: ClassFile): Generator<Unplaced> {
  const profile = profileOf(facts);
  if (facts.recipients !== 'units' || profile.keyDistribution.kind === 'agreement') return;
  yield {
    path: ['recipients'],
    expected: `cohorts or class: ${profile.name} distributes keys by ${profile.keyDistribution.name} only`,
    says: 'units have no key of their own under this profile',
    example: 'recipients: cohorts',
  };
}

function profileOf(facts: ClassFile): Profile {
  return (facts.profile && findProfile(facts.profile)) || defaultProfile(facts.scheme);
}

function* policyMistakes({ scheme, authentication, rights }: ClassFile): Generator<Unplaced> {
  for (const [field, given] of Object.entries({ authentication, rights })) {
    if (scheme === 'asymmetric' || given === undefined) continue;
    const says = 'in the symmetric scheme every unit holds the same key, which tells no signer from another';
    yield { path: [field], expected: 'nothing here', says, example: 'scheme: asymmetric' };
  }
  if (!authentication) return;
  const { rule, count, roles } = authentication;
  const path = ['authentication', ...(count === undefined ? [] : ['count'])];
  if (rule !== 'at_least' && count !== undefined) {
    const says = `the rule ${rule} says how many already`;
    yield { path, expected: 'no count', says, example: 'rule: at_least' };
  }
  if (rule !== 'at_least' || (count !== undefined && count <= roles.length)) return;
  const says = count === undefined ? 'at_least needs a count' : `only ${roles.length} roles are listed`;
  yield { path, expected: `a count from 1 to ${roles.length}`, says, example: `count: ${roles.length}` };
}

/** Each author has components of the class, and no two have the same. */
function* authorMistakes({
  scheme,
  authors = [],
  memory: { components = [] },
}: ClassFile): Generator<Unplaced> {
  const names = components.map(({ name }) => name);
  const taken = new Set<string>();
  if (scheme === 'symmetric' && authors.length > 0) {
    const says = 'in the symmetric scheme every unit holds the same key, which tells no author from another';
    yield { path: ['authors'], expected: 'nothing here', says, example: 'scheme: asymmetric' };
  }
  for (const [i, author] of authors.entries()) {
    for (const [k, prefix] of author.components.entries()) {
      const path = ['authors', i, 'components', k];
      const own = names.filter((name) => name === prefix || name.startsWith(`${prefix}/`));
      const example = `components: [${names[0] ?? 'radio'}]`;
      if (own.length === 0) {
        const expected = `a component of the memory map: ${names.join(', ') || 'it has none'}`;
        yield { path, expected, says: `the class has no component ${prefix}`, example };
      }
      const other = own.find((name) => taken.has(name));
      if (other)
        yield {
          path,
          expected: 'one author for each component',
          says: `${other} has an author already`,
          example,
        };
      for (const name of own) taken.add(name);
    }
  }
}

function memoryMistakes(map: MemoryMap): Unplaced[] {
  const problems = checkMemoryMap(map);
  if (problems.length > 0) {
    return problems.map(({ path, says, expected }) => ({ path: ['memory', ...path], expected, says }));
  }
  try {
    flashLayout(map);
    return [];
  } catch (error) {
    if (!(error instanceof FlashLayoutError)) throw error;
    return [
      {
        path: ['memory', error.area, 'size'],
        expected: 'a larger area, or smaller write units',
        says: error.message,
      },
    ];
  }
}

function attestationMistakes(facts: ClassFile): Unplaced[] {
  const rules = attestationOf(facts);
  if (!rules) return [];
  return attestationProblems(rules, withoutUndefined(facts.memory)).map(({ path, says, expected }) => ({
    path: ['attestation', ...path],
    expected,
    says,
  }));
}

function attestationOf({ attestation }: ClassFile): AttestationRules | undefined {
  if (!attestation) return undefined;
  const { regions, self_check } = attestation;
  const { slice, ...rules } = self_check ?? {};
  return {
    ...(regions && { regions }),
    ...(self_check && { self_check: { ...(rules as typeof self_check), slice_bytes: slice! } }),
  };
}

function makeClass(workspace: Workspace, name: string, file: string, facts: ClassFile): DeviceClass {
  const classIds = identifiersOf(workspace.vendorId, facts.model, facts.hardware_revision);
  const profile = profileOf(facts);
  return {
    name,
    file,
    model: facts.model,
    hardwareRevision: facts.hardware_revision,
    scheme: facts.scheme,
    profile,
    clock: facts.clock,
    approvals: facts.approvals ?? (workspace.kind === 'production' ? 1 : 0),
    ...policyOf(workspace, facts, classIds),
    attestation: attestationOf(facts),
    memory: withoutUndefined(facts.memory),
    authors: (facts.authors ?? []).map(authorOf),
    partOf: facts.part_of,
    confidentiality: facts.confidentiality,
    recipients: facts.recipients ?? (profile.keyDistribution.kind === 'agreement' ? 'units' : 'class'),
    certificatePolicy: {
      sealWithinDays: facts.certificate_policy.seal_within_days,
      minimumSignerGeneration: facts.certificate_policy.minimum_signer_generation,
    },
    jumpLimit: BigInt(facts.sequence.jump_limit),
    links: facts.links ?? [],
    trialAttempts: facts.trial_attempts,
    plan: intentOf(facts),
    cautions: facts.cautions,
    classId: classIds.at(-1)!,
    classIds,
  };
}

function intentOf({ plan }: ClassFile): PlanIntent {
  return {
    consumer: plan?.consumer,
    units: plan?.units,
    lifeYears: plan?.life_years,
    releasesPerYear: plan?.releases_per_year,
    imageSize: plan?.image_size,
    supportUntil: plan?.support_until,
    mcu: plan?.mcu,
  };
}

function policyOf(
  workspace: Workspace,
  facts: ClassFile,
  classIds: readonly Uint8Array[],
): Pick<DeviceClass, 'authentication' | 'policy' | 'rights'> {
  const scopeOf = (id: Uint8Array) => `urn:uuid:${formatUuid(id)}`;
  const { authentication, rights } = facts;
  const { id: algorithm } = profileOf(facts).authentication;
  const own = { algorithm, classScopes: classIds.map(scopeOf), vendorScope: scopeOf(workspace.vendorId) };
  return { authentication, policy: authentication && resolvePolicy(authentication, own), rights };
}

function withoutUndefined({
  link_address,
  recovery,
  delta_window,
  policy,
  components,
  boot_log,
  ...rest
}: ClassFile['memory']): MemoryMap {
  return {
    ...rest,
    ...(link_address !== undefined && { link_address }),
    ...(recovery !== undefined && { recovery }),
    ...(delta_window !== undefined && { delta_window }),
    ...(policy !== undefined && { policy }),
    ...(components !== undefined && { components }),
    ...(boot_log !== undefined && { boot_log }),
  };
}

/** Class identifiers, the model's first: UUIDv5 under the vendor of the model, and of `MODEL/REVISION`. */
function identifiersOf(vendor: Uint8Array, model: string, revision: string | undefined): Uint8Array[] {
  const general = suitClassId(vendor, model);
  return revision === undefined ? [general] : [general, suitClassId(vendor, `${model}/${revision}`)];
}

function authorOf(facts: NonNullable<ClassFile['authors']>[number]): ClassAuthor {
  const vendor = vendorId(facts.vendor_domain);
  return {
    name: facts.name,
    components: facts.components,
    vendorId: vendor,
    classIds: identifiersOf(vendor, facts.model, facts.hardware_revision),
    minimumSignerGeneration: facts.minimum_signer_generation,
  };
}

function noSuchClass(workspace: Workspace, name: string): WorkspaceError {
  const known = listClasses(workspace);
  return new WorkspaceError('not-found', `this workspace has no class ${name}`, {
    hint:
      known.length > 0
        ? `its classes are ${known.join(', ')}; another is added with: fieldseal class add ${name} --model TEXT --scheme SCHEME`
        : `add it first: fieldseal class add ${name} --model TEXT --scheme asymmetric`,
  });
}

/** A class as `class show --json` gives it (format fieldseal.class/1). Addresses and sizes in bytes. */
export function classJson(workspace: Workspace, deviceClass: DeviceClass): JsonObject {
  return {
    format: 'fieldseal.class/1',
    name: deviceClass.name,
    trial: workspace.kind === 'trial',
    model: deviceClass.model,
    hardware_revision: deviceClass.hardwareRevision ?? null,
    vendor_domain: workspace.vendorDomain,
    vendor_id: formatUuid(workspace.vendorId),
    class_id: formatUuid(deviceClass.classId),
    class_ids: deviceClass.classIds.map(formatUuid),
    scheme: deviceClass.scheme,
    profile: deviceClass.profile.name,
    algorithm: deviceClass.profile.authentication.name,
    clock: deviceClass.clock,
    confidentiality: deviceClass.confidentiality,
    recipients: deviceClass.confidentiality === 'none' ? null : deviceClass.recipients,
    approvals: deviceClass.approvals,
    authentication: (deviceClass.authentication ?? null) as unknown as Json,
    rights: (deviceClass.rights ?? null) as unknown as Json,
    attestation: (deviceClass.attestation ?? null) as unknown as Json,
    memory: deviceClass.memory as unknown as Json,
    authors: deviceClass.authors.map(({ name, components, vendorId: vendor, classIds }) => ({
      name,
      components: [...components],
      vendor_id: formatUuid(vendor),
      class_ids: classIds.map(formatUuid),
    })),
    part_of: deviceClass.partOf ?? null,
    certificate_policy: {
      seal_within_days: deviceClass.certificatePolicy.sealWithinDays ?? null,
      minimum_signer_generation: deviceClass.certificatePolicy.minimumSignerGeneration,
    },
    jump_limit: Number(deviceClass.jumpLimit),
    links: [...deviceClass.links],
    trial_attempts: deviceClass.trialAttempts,
    cautions: [...deviceClass.cautions],
  };
}
