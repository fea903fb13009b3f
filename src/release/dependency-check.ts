import { CoseError, decodeCose, LABEL, signatureAlgorithm, verifySign1 } from '../cose/index.ts';
import { readPublicKey } from '../crypto/index.ts';
import type { Envelope, Manifest } from '../suit/index.ts';
import { oversteppingOf, type PolicySigner } from '../unit/index.ts';
import { type DeviceClass, readAuthor, type Workspace } from '../workspace/index.ts';
import {
  type Certificate,
  DerError,
  fingerprint,
  OID,
  parseCertificate,
  validatePath,
  X509Error,
} from '../x509/index.ts';
import { SealError } from './error.ts';
import { authorRealm } from './rights-check.ts';
import { anchorsOf } from './signer.ts';

/** Who vouches for a dependency. */
export interface Vouching {
  /** Name under which the root was taken in, or of a root of this workspace. */
  readonly root: string;
  readonly subject: string;
}

interface Sealed {
  readonly path: string;
  readonly envelope: Envelope;
  readonly manifest: Manifest;
}

/**
 * Refuses a dependency that units of the class would refuse: not signed below the root of an author of the class or a root
 * of this workspace, or doing more than its signer may. Symmetric classes share one key; units judge the MAC themselves.
 * Throws `SealError` dependency-wrong.
 */
export function requireAuthentic(workspace: Workspace, deviceClass: DeviceClass, sealed: Sealed): Vouching {
  if (deviceClass.scheme === 'symmetric') return { root: 'class key', subject: 'not judged here' };
  const roots = [
    ...anchorsOf(workspace),
    ...deviceClass.authors.map(({ name }) => {
      const { subject, spki } = readAuthor(workspace, name);
      return { name: subject.der, spki, label: name };
    }),
  ];
  const { id } = deviceClass.profile.authentication;
  let why = 'it has no signature';
  for (const { bytes } of sealed.envelope.blocks) {
    const judged = judgeBlock(bytes, sealed.envelope.digest.encoded, roots, id);
    if (typeof judged === 'string') why = judged;
    else {
      requireRightsOf(deviceClass, sealed, judged);
      return { root: judged.signer.anchor, subject: judged.certificate.subject.text };
    }
  }
  throw new SealError(
    'dependency-wrong',
    `${sealed.path} is not sealed by an author whose components units of class ${deviceClass.name} take: ${why}; nothing was sealed`,
    `its author's root is taken in by "fieldseal author add", and named under "authors" in classes/${deviceClass.name}.yaml`,
  );
}

interface JudgedBlock {
  readonly signer: PolicySigner;
  readonly certificate: Certificate;
}

function judgeBlock(
  bytes: Uint8Array,
  digest: Uint8Array,
  roots: ReturnType<typeof anchorsOf>,
  algorithm: number,
): JudgedBlock | string {
  try {
    const message = decodeCose(bytes, { requireTag: true });
    if (message.kind !== 'sign1') return `a block is a ${message.kind}`;
    const item = message.headers.get(LABEL.x5chain);
    const items = item?.type === 'array' ? item.items : item ? [item] : [];
    const chain = items.flatMap((each) => (each.type === 'bytes' ? [parseCertificate(each.value)] : []));
    const [certificate] = chain;
    if (!certificate) return 'no certificate came with it';
    const path = validatePath({ chain, anchors: roots, at: undefined, purpose: OID.codeSigning });
    if (!path.ok) return path.detail;
    const key = readPublicKey(certificate.spki);
    const understood = { understood: [...Object.values(LABEL), -70_001] };
    const verdict = key ? verifySign1(message, key, digest, understood) : undefined;
    if (!verdict?.ok) return verdict?.detail ?? 'its key is of an unknown kind';
    const used = signatureAlgorithm(algorithm)!;
    if (used.keyType !== key!.type) return `it is not signed by ${used.name}, the algorithm of the profile`;
    const { label } = path.anchor;
    const { role, spki, subjectAltUris: scopes } = certificate;
    return {
      certificate,
      signer: { fingerprint: fingerprint(spki), role, algorithm, anchor: label, scopes },
    };
  } catch (error) {
    if (error instanceof CoseError || error instanceof DerError || error instanceof X509Error)
      return error.message;
    throw error;
  }
}

function requireRightsOf(
  deviceClass: DeviceClass,
  { path, manifest }: Sealed,
  { signer }: JudgedBlock,
): void {
  const { component, command } = oversteppingOf(
    deviceClass.rights,
    [signer],
    manifest,
    authorRealm(deviceClass),
  );
  const beyond = component ?? command;
  if (beyond === undefined) return;
  throw new SealError(
    'dependency-wrong',
    `${path} is sealed below ${signer.anchor}, who has no right to ${beyond} on units of class ${deviceClass.name}; nothing was sealed`,
    `let it be sealed by whoever the component belongs to, or correct "authors" and "rights" in classes/${deviceClass.name}.yaml before units are provisioned`,
  );
}
