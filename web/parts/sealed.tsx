import { bytes, Caution, Digest, Facts } from './tell.tsx';

/** A sealed release, as the server tells it. */
export interface Sealed {
  /** Name of the envelope at the desk. */
  readonly file: string;
  readonly class: string;
  readonly version: string;
  readonly sequence_number: string | number;
  readonly manifest_digest: string;
  readonly envelope: { readonly file: string; readonly size_bytes: number; readonly sha256: string };
  readonly cautions: readonly string[];
}

/** What came of sealing. */
export function SealedShown({ sealed }: { sealed: Sealed }) {
  return (
    <div class="sealed" role="status">
      <h3>
        Sealed: {sealed.class} {sealed.version}
      </h3>
      <Facts
        facts={[
          ['sequence number', String(sealed.sequence_number)],
          ['envelope', `${sealed.envelope.file} in the workspace, ${bytes(sealed.envelope.size_bytes)}`],
          ['manifest digest', <Digest hex={sealed.manifest_digest} />],
        ]}
      />
      <p class="row">
        <a href={`/api/v1/files/${sealed.file}`} download>
          Take the envelope
        </a>
        <a href={`/inside?file=${sealed.envelope.sha256}`}>Look inside it</a>
        <a href={`/ask?class=${sealed.class}&envelope=${sealed.envelope.sha256}`}>Ask a unit about it</a>
        <a href={`/rehearse?class=${sealed.class}&payload=${sealed.envelope.sha256}`}>Rehearse it</a>
        <a href={`/broadcast?begin=new&class=${sealed.class}&payload=${sealed.envelope.sha256}`}>
          Broadcast it
        </a>
      </p>
      {sealed.cautions.map((caution) => (
        <Caution key={caution}>{caution}</Caution>
      ))}
    </div>
  );
}
