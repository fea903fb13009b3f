import { useState } from 'preact/hooks';
import { type DeskFile, follow, post } from '../api.ts';
import { useWork } from '../use.ts';
import { Drop } from './drop.tsx';
import type { RequestShown } from './request.tsx';
import { type Sealed, SealedShown } from './sealed.tsx';
import { Tell } from './tell.tsx';

/** Sealing what was approved: the same firmware file, and nothing to choose. */
export function SealApproved({ shown }: { shown: RequestShown }) {
  const [files, setFiles] = useState<readonly (DeskFile | undefined)[]>([]);
  const [passphrase, setPassphrase] = useState('');
  const [sealed, setSealed] = useState<Sealed>();
  const work = useWork();
  const [file, second] = files;
  const two = shown.images.length > 1;
  const seal = () =>
    work.run(async () => {
      const { job } = await post<{ job: string }>(`/requests/${shown.request}/seals`, {
        file: file!.id,
        ...(two && second && { file_b: second.id }),
        ...(passphrase && { passphrase }),
      });
      setPassphrase('');
      setSealed(await follow<Sealed>(job, () => {}));
    });
  if (shown.components.length + shown.dependencies.length > 0 || shown.images.some(({ delta }) => delta)) {
    return (
      <p>
        Approved. It has parts that the desk does not take in: seal it with{' '}
        <code>fieldseal seal --request {shown.request}</code>.
      </p>
    );
  }
  return (
    <section aria-labelledby="seal">
      <h2 id="seal">Seal what was approved</h2>
      <Drop label="Firmware file" file={file} take={(taken) => setFiles([taken, second])} />
      {two && (
        <Drop label="Firmware file for slot B" file={second} take={(taken) => setFiles([file, taken])} />
      )}
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault();
          seal();
        }}
      >
        <label>
          Passphrase of the sealing key
          <input
            type="password"
            value={passphrase}
            autocomplete="off"
            onInput={(event) => setPassphrase(event.currentTarget.value)}
          />
        </label>
        <button type="submit" class="main" disabled={work.busy || !file || (two && !second)}>
          Seal {shown.request}
        </button>
      </form>
      <p class="hint">
        Only the image that was approved is sealed. Sealing uses the request up, and cannot be taken back.
      </p>
      <Tell problem={work.problem} />
      {sealed && <SealedShown sealed={sealed} />}
    </section>
  );
}
