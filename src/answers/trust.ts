import { formatUuid } from '../suit/index.ts';
import {
  classKeys,
  contentKeys,
  type DeviceClass,
  type JsonObject,
  listClasses,
  listKeys,
  listRecords,
  listReleases,
  readCertificates,
  readClass,
  type Workspace,
} from '../workspace/index.ts';
import { type Certificate, purposeOf, type SignerPurpose } from '../x509/index.ts';

/** One party of the chain of trust. `rank`: 0 what is trusted first, then what it vouches for. */
interface Party {
  readonly id: string;
  readonly kind: 'root' | 'signer' | 'shared key' | 'class';
  readonly name: string;
  readonly says: string;
  readonly rank: 0 | 1 | 2;
}

/** `from` vouches for `to`: whoever holds `from` can act as `to`, or on it. */
interface Bond {
  readonly from: string;
  readonly to: string;
  readonly says: string;
}

/** What signers of each purpose sign, and what that is to a class. */
const MAY: Readonly<Record<SignerPurpose, { readonly of: string; readonly may: string }>> = {
  release: { of: 'releases', may: 'may sign for' },
  trust: { of: 'trust updates', may: 'may sign trust updates for' },
  announcement: { of: 'announcements', may: 'may announce to' },
};

interface Picture {
  readonly parties: Party[];
  readonly bonds: Bond[];
}

/**
 * Who trusts whom: roots, the signers they certify, keys that units share, and the classes whose units take what each
 * vouches for.
 */
export async function trustJson(workspace: Workspace): Promise<JsonObject> {
  const classes = await Promise.all(listClasses(workspace).map((name) => readClass(workspace, name)));
  const picture: Picture = { parties: [], bonds: [] };
  addCertified(workspace, classes, picture);
  for (const deviceClass of classes) addClass(workspace, deviceClass, picture);
  return {
    format: 'fieldseal.trust/1',
    parties: picture.parties.map((party) => ({ ...party })),
    bonds: picture.bonds.map((bond) => ({ ...bond })),
  };
}

function addCertified(
  workspace: Workspace,
  classes: readonly DeviceClass[],
  { parties, bonds }: Picture,
): void {
  const roots = certified(workspace, 'root');
  for (const { name, certificate } of roots)
    parties.push({ id: `key ${name}`, kind: 'root', name, says: validity(certificate), rank: 0 });
  for (const { name, certificate } of certified(workspace, 'signer')) {
    const { of, may } = MAY[purposeOf(certificate) ?? 'release'];
    parties.push({
      id: `key ${name}`,
      kind: 'signer',
      name,
      says: `${of}, ${validity(certificate)}`,
      rank: 1,
    });
    const issuer = roots.find((root) => root.certificate.subject.text === certificate.issuer.text);
    if (issuer) bonds.push({ from: `key ${issuer.name}`, to: `key ${name}`, says: 'certifies' });
    for (const deviceClass of classes.filter((each) => covers(workspace, certificate, each)))
      bonds.push({ from: `key ${name}`, to: `class ${deviceClass.name}`, says: may });
  }
}

function addClass(
  workspace: Workspace,
  { name, model, scheme }: DeviceClass,
  { parties, bonds }: Picture,
): void {
  const units = counted(listRecords(workspace, 'units', name).length, 'unit');
  const releases = counted(listReleases(workspace, name).length, 'release');
  parties.push({
    id: `class ${name}`,
    kind: 'class',
    name,
    says: `${model}; ${units}, ${releases}`,
    rank: 2,
  });
  const share = (key: string, says: string, bond: string) => {
    parties.push({ id: `key ${key}`, kind: 'shared key', name: key, says, rank: 1 });
    bonds.push({ from: `key ${key}`, to: `class ${name}`, says: bond });
  };
  for (const { description, cohort } of scheme === 'symmetric' ? classKeys(workspace, name) : [])
    share(
      description.name,
      cohort === undefined ? 'every unit holds it' : `every unit of cohort ${cohort} holds it`,
      'may MAC for',
    );
  for (const { description } of contentKeys(workspace, name))
    share(description.name, 'opens encrypted images; vouches for nothing', 'reads images of');
}

function certified(workspace: Workspace, purpose: 'root' | 'signer') {
  return listKeys(workspace, purpose).flatMap(({ name }) => {
    const [certificate] = readCertificates(workspace, name);
    return certificate ? [{ name, certificate }] : [];
  });
}

function covers(
  workspace: Workspace,
  { subjectAltUris }: Certificate,
  { classIds, scheme }: DeviceClass,
): boolean {
  const scopes = [...classIds, workspace.vendorId].map((id) => `urn:uuid:${formatUuid(id)}`);
  return scheme === 'asymmetric' && subjectAltUris.some((uri) => scopes.includes(uri));
}

function validity({ notAfter }: Certificate): string {
  return notAfter ? `until ${notAfter.toISOString().slice(0, 10)}` : 'no defined end';
}

function counted(count: number, noun: string): string {
  return `${count} ${noun}${count === 1 ? '' : 's'}`;
}
