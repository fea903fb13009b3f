import { equal } from '../../bytes/index.ts';
import { componentIdentifier } from '../../unit/index.ts';
import type { DeviceClass, Workspace } from '../../workspace/index.ts';
import { buildManifest, type ManifestToSeal } from '../manifest.ts';
import type { FrozenRequest } from './frozen.ts';

/** The manifest that follows from what a request fixes, for the image as it is, under the class as it is now. */
export function manifestOf(
  workspace: Workspace,
  deviceClass: DeviceClass,
  frozen: Omit<FrozenRequest, 'manifest' | 'severed'>,
): ManifestToSeal {
  const { version, deviceId, detached, withoutText, description, referenceUri } = frozen;
  const parts = {
    dependencies: frozen.dependencies,
    components: frozen.components.map((part) => ({
      ...part,
      identifier: componentIdentifier(part.name),
    })),
  };
  return buildManifest(
    { workspace, version, deviceId, detached, withoutText, description, referenceUri, parts },
    deviceClass,
    frozen.images.map(({ digest, sizeBytes, uri, delta }) => ({
      digest,
      flat: { size: sizeBytes },
      input: { uri },
      delivered: { digest },
      encryption: undefined,
      delta,
    })),
    frozen.sequenceNumber,
  );
}

/** Whether the manifest in a request is the one that follows from what it says: what people are shown is what is sealed. */
export function isConsistent(workspace: Workspace, deviceClass: DeviceClass, frozen: FrozenRequest): boolean {
  const { manifest, severed } = manifestOf(workspace, deviceClass, frozen);
  return (
    equal(manifest, frozen.manifest) &&
    severed.size === frozen.severed.size &&
    [...severed].every(([key, bytes]) => equal(bytes, frozen.severed.get(key) ?? new Uint8Array()))
  );
}
