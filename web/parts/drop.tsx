import { useId, useState } from 'preact/hooks';
import { bring, type DeskFile, type Problem } from '../api.ts';
import { useWork } from '../use.ts';
import { bytes, Tell } from './tell.tsx';

interface Props {
  readonly label: string;
  readonly hint?: string;
  readonly file: DeskFile | undefined;
  /** Why the file that the address names is not here. */
  readonly problem?: Problem | undefined;
  take(file: DeskFile): void;
}

/** A place to drop a file, or to choose one. It goes to this desk's own server and nowhere else. */
export function Drop({ label, hint, file, problem, take }: Props) {
  const id = useId();
  const [over, setOver] = useState(false);
  const work = useWork();
  const receive = (chosen: File | undefined) => {
    if (chosen) work.run(async () => take(await bring(chosen, chosen.name)));
  };
  return (
    <fieldset
      class={over ? 'drop over' : 'drop'}
      onDragOver={(event) => {
        event.preventDefault();
        setOver(true);
      }}
      onDragLeave={() => setOver(false)}
      onDrop={(event) => {
        event.preventDefault();
        setOver(false);
        receive(event.dataTransfer?.files[0]);
      }}
    >
      <label for={id}>{label}</label>
      <input
        id={id}
        type="file"
        aria-describedby={`${id}-hint`}
        onChange={(event) => receive(event.currentTarget.files?.[0])}
      />
      <p id={`${id}-hint`} class="hint">
        {work.busy
          ? 'Bringing it to the desk...'
          : file
            ? `${file.name}, ${bytes(file.size_bytes)}, sha-256 ${file.sha256.slice(0, 16)}...`
            : (hint ?? 'Drop a file here, or choose one. It goes to this desk and nowhere else.')}
      </p>
      <Tell problem={work.problem ?? problem} />
    </fieldset>
  );
}
