import { sourceOf } from '../bytes/index.ts';
import { ALL_EXTENSIONS, openEnvelope, readManifest, writeEnvelopeHead } from '../suit/index.ts';
import { componentIdentifier, extensionsOf, oversteppingOf, type Realm } from '../unit/index.ts';
import type { DeviceClass } from '../workspace/index.ts';
import type { Sealer } from './blocks.ts';
import { SealError } from './error.ts';
import type { ManifestToSeal } from './manifest.ts';

/** Whose components are whose on units of a class, for a manifest whose components stand under no prefix. */
export function authorRealm({ authors }: DeviceClass): Realm {
  const byRoot = authors.map(
    ({ name, components }) => [name, { components: components.map(componentIdentifier) }] as const,
  );
  return { scope: [], authors: new Map(byRoot) };
}

/**
 * Refuses what units of the class would refuse by their access control list, while no number is used yet. Where signers are
 * still to come, whose rights count too, nothing is judged. Throws `SealError` signer-rights.
 */
export function requireRights(deviceClass: DeviceClass, sealer: Sealer, sealed: ManifestToSeal): void {
  const { name, rights, memory, authors } = deviceClass;
  if ((!rights && authors.length === 0) || sealer.kind === 'mac' || sealer.standing?.satisfied === false)
    return;
  const { payload: digest, manifest, severed } = sealed;
  const [head] = writeEnvelopeHead({ digest, blocks: [], manifest, severed, integrated: [] });
  const parts = openEnvelope(sourceOf(head!), undefined, ALL_EXTENSIONS).severed;
  const read = readManifest(manifest, { severed: parts, extensions: extensionsOf({ memory }) });
  const signers = sealer.hands.map(({ chosen }) => chosen.signer);
  const { command } = oversteppingOf(rights, signers, read, authorRealm(deviceClass));
  if (command === undefined) return;
  throw new SealError(
    'signer-rights',
    `units of class ${name} give ${sealer.hands.map(({ chosen }) => chosen.description.name).join(' and ')} no right to ${command}; nothing was sealed`,
    `name a signer that has the right, or correct "rights" in classes/${name}.yaml before units are provisioned`,
  );
}
