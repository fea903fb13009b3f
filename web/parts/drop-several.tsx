import type { NamedFiles } from '../named.ts';
import { Drop } from './drop.tsx';
import { bytes } from './tell.tsx';

/** A place to drop several files, one after the other; each can be left out again. */
export function DropSeveral(props: { label: string; hint: string; named: NamedFiles }) {
  const { label, hint, named } = props;
  return (
    <div>
      <Drop
        key={named.files.length}
        label={label}
        hint={hint}
        file={undefined}
        problem={named.problem}
        take={named.add}
      />
      {named.files.length > 0 && (
        <ul class="brought" aria-label={label}>
          {named.files.map((file) => (
            <li key={file.sha256}>
              {file.name}, {bytes(file.size_bytes)}{' '}
              <button type="button" class="quiet" onClick={() => named.leaveOut(file)}>
                leave out {file.name}
              </button>
            </li>
          ))}
        </ul>
      )}
    </div>
  );
}
