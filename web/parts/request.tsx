import { address, bytes, Digest, Facts, moment } from './tell.tsx';

/** A sealing request, decoded from what its requester signed. */
export interface RequestShown {
  readonly request: string;
  readonly state: 'open' | 'expired' | 'withdrawn' | 'used up' | 'does not hold';
  /** Why it does not hold. */
  readonly says?: string;
  readonly requester: string;
  readonly requested_by: string;
  readonly expires: string;
  readonly class: string;
  readonly model: string;
  readonly device_id: string | null;
  readonly version: string;
  readonly sequence_number: string;
  readonly security_version: number;
  readonly images: readonly {
    readonly digest: string;
    readonly size_bytes: number;
    readonly address: number;
    readonly delta: { readonly size_bytes: number } | null;
  }[];
  readonly components: readonly {
    readonly name: string;
    readonly digest: string;
    readonly size_bytes: number;
  }[];
  readonly dependencies: readonly { readonly name: string; readonly manifest_digest: string }[];
  readonly signers: readonly string[];
  readonly encryption: {
    readonly algorithm: string;
    readonly recipients: string;
    readonly count: number;
  } | null;
  readonly manifest_digest: string | null;
  readonly needed: number;
  readonly counted: number;
  readonly approvals: readonly {
    readonly approver: string;
    readonly person: string | null;
    readonly counts: boolean;
    readonly fault: string | null;
  }[];
}

/** What a sealing request froze, and how far its approvals have come. */
export function RequestTold({ shown }: { shown: RequestShown }) {
  const { images, components, dependencies, encryption, approvals } = shown;
  return (
    <section aria-labelledby="frozen">
      <h2 id="frozen">What {shown.request} froze</h2>
      <Facts
        facts={[
          ['asked for by', `${shown.requested_by}, with the key ${shown.requester}`],
          ['holds until', moment(shown.expires)],
          ['class', `${shown.class}, ${shown.model}`],
          [
            'for',
            shown.device_id === null ? 'every unit of the class' : `one unit alone, ${shown.device_id}`,
          ],
          ['version', `${shown.version}, sequence number ${shown.sequence_number}`],
          ['security version', String(shown.security_version)],
          ...images.map(
            ({ digest, size_bytes, address: at, delta }) =>
              [
                'image',
                <>
                  {bytes(size_bytes)} for {address(at)}
                  {delta && `, also as a delta of ${bytes(delta.size_bytes)}`}
                  <br />
                  SHA-256 <code>{digest}</code>
                </>,
              ] as const,
          ),
          ...components.map(
            ({ name, digest, size_bytes }) =>
              [
                `component ${name}`,
                <>
                  {bytes(size_bytes)}, SHA-256 <code>{digest}</code>
                </>,
              ] as const,
          ),
          ...dependencies.map(
            ({ name, manifest_digest }) =>
              [
                'depends on',
                <>
                  {name}, manifest <code>{manifest_digest}</code>
                </>,
              ] as const,
          ),
          ['sealed with', shown.signers.join(', ') || 'the keys of the class'],
          [
            'encrypted',
            encryption ? `${encryption.algorithm}, for ${encryption.count} (${encryption.recipients})` : 'no',
          ],
          [
            'manifest digest',
            shown.manifest_digest ? <Digest hex={shown.manifest_digest} /> : 'settled when it is encrypted',
          ],
          ['approvals', `${shown.counted} of ${shown.needed}`],
          ...approvals.map(
            ({ approver, person, counts, fault }) =>
              [
                counts ? 'approved by' : 'does not count',
                `${person ?? approver}${fault ? `: ${fault}` : ''}`,
              ] as const,
          ),
        ]}
      />
    </section>
  );
}
