import { type JsonObject, listReleases, readRecord, type Workspace } from '../workspace/index.ts';

/** Every sealed release on record, the latest first: the facts of its record that lists show. */
export function releasesJson(workspace: Workspace): JsonObject[] {
  return listReleases(workspace)
    .map((name) => readRecord(workspace, 'releases', name.split('/')))
    .map(({ path, facts }): JsonObject => ({ record: path, ...shown(facts) }))
    .sort((a, b) => String(b.sealed).localeCompare(String(a.sealed)));
}

function shown(facts: JsonObject): JsonObject {
  const { class: className, model, version, sequence_number, security_version, scheme, profile } = facts;
  const { manifest_digest, sealed, envelope, images, signers, detached, trial } = facts;
  return {
    class: className!,
    model: model!,
    version: version!,
    sequence_number: sequence_number!,
    security_version: security_version!,
    scheme: scheme!,
    profile: profile!,
    manifest_digest: manifest_digest!,
    sealed: sealed!,
    detached: detached!,
    trial: trial!,
    envelope: envelope!,
    images: ((images ?? []) as JsonObject[]).map(({ slot, digest, size_bytes, address }) => ({
      slot: slot!,
      digest: digest!,
      size_bytes: size_bytes!,
      address: address!,
    })),
    signers: ((signers ?? []) as JsonObject[]).map(({ name, fingerprint }) => ({
      name: name!,
      fingerprint: fingerprint!,
    })),
  };
}
