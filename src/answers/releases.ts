import {
  addedSignatures,
  type JsonObject,
  listReleases,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';

/** Every sealed release on record, or the last of them, the latest first: the facts of its records that lists show. */
export function releasesJson(workspace: Workspace, most?: number): JsonObject[] {
  return listReleases(workspace)
    .map((name) => ({ name, ...readRecord(workspace, 'releases', name.split('/')) }))
    .sort((a, b) => String(b.facts.sealed).localeCompare(String(a.facts.sealed)))
    .slice(0, most)
    .map(({ name, path, facts }) => ({
      record: path,
      ...shown(facts),
      ...signedBy(facts, addedSignatures(workspace, name)),
    }));
}

/** Who signed it, when it was sealed and later; the envelopes that were written of it; and whom units still ask for. */
function signedBy(facts: JsonObject, added: readonly JsonObject[]): JsonObject {
  const all = [
    ...((facts.signers ?? []) as JsonObject[]).map((signer) => ({ signer, signed: null })),
    ...added.map(({ signer, signed }) => ({ signer: signer as JsonObject, signed: signed! })),
  ].map(({ signer: { name, fingerprint }, signed }) => ({ name: name!, fingerprint: fingerprint!, signed }));
  const open = [facts, ...added].map((each) => (each.open ?? []) as string[]);
  return {
    // Several may have added the same signature, each to an envelope of their own.
    signers: all.filter(
      (each, i) => all.findIndex(({ fingerprint }) => fingerprint === each.fingerprint) === i,
    ),
    open: open.reduce((least, each) => (each.length < least.length ? each : least)),
    envelopes: [facts, ...added].map(({ envelope }) => envelope!),
  };
}

function shown(facts: JsonObject): JsonObject {
  const { class: className, model, version, sequence_number, security_version, scheme, profile } = facts;
  const { manifest_digest, sealed, envelope, images, detached, trial } = facts;
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
  };
}
